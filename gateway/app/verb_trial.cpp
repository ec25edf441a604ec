// driftline trial: candidate thresholds against the history or recordings, and what they cost.

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <thread>

#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/progress.h"
#include "gateway/app/trial/material.h"
#include "gateway/app/trial/report.h"
#include "gateway/app/verbs.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "Tries thresholds on what was: which warnings they would have given at each station, which of them before a failure or a\n"
    "repair that people noted and how long before, against the thresholds in force; and how many false warnings a year they\n"
    "are expected to cost on the station's own noise, against the days of lead that they buy.\n\n"
    "A candidate is a file of thresholds as rules.json is one; it lies over what is in force. --vary moves one threshold over a\n"
    "range, such as slow-to-pressure/smallest_shift_pct=1..8 or false_warnings_per_year=0.1..10:5, and gives the price curve with\n"
    "its knee. Nothing is changed anywhere. The gateway may run meanwhile.\n\n"
    "Into the folder --out go trial.json, warnings.csv, prices.csv and for each --vary a curve as SVG.";

struct Options {
  std::string config, data, out, from, until;
  std::vector<std::string> recordings, candidates, varied, stations;
  bool json = false, each = false, suggest = false, unpriced = false;
  int threads = static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
  double fault_days = 30;
  std::optional<double> budget, lead_days;
};

int refuse(const std::string& why) {
  std::cerr << "driftline trial: " << why << '\n';
  return exit_unusable;
}

tl::expected<std::vector<StationId>, std::string> stations_of(const std::vector<std::string>& names) {
  std::vector<StationId> all;
  for (const std::string& name : names) {
    const std::size_t slash = name.find('/');
    if (slash == std::string::npos || slash == 0 || slash + 1 == name.size())
      return tl::unexpected("\"" + name + "\" is no station; right would be SITE/STATION, such as northyard/ps-01");
    all.push_back({name.substr(0, slash), name.substr(slash + 1)});
  }
  return all;
}

tl::expected<std::optional<Time>, std::string> day_of(const std::string& text) {
  if (text.empty()) return std::optional<Time>();
  const auto time = parse_rfc3339(text.size() == 10 ? text + "T00:00:00Z" : text);
  if (!time) return tl::unexpected("\"" + text + "\" is no day; right would be 2026-03-01, or 2026-03-01T06:00:00Z");
  return time;
}

// Reads what is to be played; `settings` are those in force.
tl::expected<trial::Material, std::string> material_of(const Options& options, const PlantSettings& settings) {
  const auto wanted = stations_of(options.stations);
  if (!wanted) return tl::unexpected(wanted.error());
  const auto from = day_of(options.from);
  const auto until = day_of(options.until);
  if (!from || !until) return tl::unexpected(!from ? from.error() : until.error());
  tl::expected<trial::Material, std::string> material;
  if (options.recordings.empty()) {
    material = trial::material_of_history((std::filesystem::path(options.data) / "history.db").string(), *wanted, *until);
  } else {
    Progress progress("reading");
    PlantSettings reading = settings;
    reading.threads = options.threads;
    material = trial::material_of_recordings(std::move(reading), {options.recordings.begin(), options.recordings.end()}, *wanted,
                                             [&](std::uint64_t done, std::uint64_t total, std::uint64_t messages) {
                                               progress.show(done, total, std::to_string(messages) + " messages");
                                             });
  }
  if (material && *from) material->from = **from;
  if (material && *until) material->until = std::min(material->until, **until);
  return material;
}

struct Tried {
  std::vector<trial::Candidate> candidates;
  std::vector<std::pair<trial::Range, std::size_t>> ranges;  // with the place of the first candidate in the report
};

std::optional<Tried> candidates_of(const Options& options, const trial::Contexts& in_force) {
  Tried tried;
  std::vector<ConfigProblem> problems;
  for (const std::string& file : options.candidates)
    if (auto candidate = trial::candidate_of_file(file, in_force, problems)) tried.candidates.push_back(std::move(*candidate));
  for (const std::string& text : options.varied) {
    auto range = trial::range_of(text);
    if (!range) {
      problems.push_back({"--vary", "", range.error(), ""});
      continue;
    }
    const std::size_t first = tried.candidates.size() + 1;
    for (auto& candidate : trial::candidates_of(*range, in_force, problems)) tried.candidates.push_back(std::move(candidate));
    tried.ranges.emplace_back(std::move(*range), first);
  }
  for (const ConfigProblem& problem : problems) std::cerr << "driftline trial: " << text_of(problem) << '\n';
  if (!problems.empty()) return std::nullopt;
  return tried;
}

bool write_file(const std::filesystem::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary | std::ios::trunc);
  out << text;
  out.flush();
  if (!out) std::cerr << "driftline trial: cannot write " << file.string() << '\n';
  return static_cast<bool>(out);
}

bool write_all(const std::filesystem::path& folder, const trial::TrialReport& report, const std::vector<trial::PriceCurve>& curves,
               const std::vector<trial::Suggestion>& suggestions) {
  std::error_code failed;
  std::filesystem::create_directories(folder, failed);
  bool written = write_file(folder / "trial.json", trial::report_json(report, curves, suggestions)) &&
                 write_file(folder / "warnings.csv", trial::warnings_csv(report)) && write_file(folder / "prices.csv", trial::prices_csv(report));
  for (const trial::PriceCurve& curve : curves) {
    std::string name = curve.name;
    std::replace(name.begin(), name.end(), '/', '-');
    written = written && write_file(folder / ("curve-" + name + ".svg"), trial::curve_svg(curve));
  }
  return written;
}

int try_out(const Options& options, const PlantSettings& settings, const trial::Kinds& kinds) {
  const auto material = material_of(options, settings);
  if (!material) return refuse(material.error());
  const trial::Contexts in_force = trial::contexts_of(material->stations, settings);
  const auto tried = candidates_of(options, in_force);
  if (!tried) return exit_unusable;
  trial::TrialSettings how;
  how.threads = options.threads;
  how.price.fault_days = options.fault_days;
  how.priced = !options.unpriced;
  trial::TrialReport report;
  {
    Progress progress("trial");
    report = trial::run_trial(*material, in_force, tried->candidates, how, [&](std::size_t done, std::size_t of) {
      progress.show(done, of, std::to_string(material->stations.size()) + " stations, " + std::to_string(tried->candidates.size() + 1) + " sets of thresholds");
    });
  }
  for (const std::string& problem : report.problems) std::cerr << "driftline trial: " << problem << '\n';
  std::vector<trial::PriceCurve> curves;
  for (const auto& [range, first] : tried->ranges) curves.push_back(trial::curve_of(report, range, first));
  std::vector<trial::Suggestion> suggestions;
  if (options.suggest) {
    trial::SuggestSettings wanted{.budget = options.budget, .lead_days = options.lead_days, .threads = options.threads};
    wanted.price.fault_days = options.fault_days;
    suggestions = trial::suggest(report, in_force, kinds, wanted);
  }
  if (options.json) {
    std::cout << trial::report_json(report, curves, suggestions);
  } else {
    std::cout << trial::report_table(report, options.each);
    for (const trial::PriceCurve& curve : curves) std::cout << trial::curve_table(curve);
    std::cout << trial::suggestion_table(suggestions);
  }
  if (!options.out.empty() && !write_all(options.out, report, curves, suggestions)) return exit_failed;
  return report.problems.empty() ? exit_done : exit_failed;
}

}  // namespace

int verb_trial(Arguments arguments) {
  Options options;
  CLI::App app(help_text, "driftline trial");
  app.add_option("recording", options.recordings, "recordings (.ndjson, .ndjson.gz) or folders of them, in place of --data");
  app.add_option("--config", options.config, "configuration folder: the thresholds in force")->required();
  app.add_option("--data", options.data, "data folder of a gateway: its history is what is tried on");
  app.add_option("--candidate", options.candidates, "a file of thresholds; may be given again");
  app.add_option("--vary", options.varied, "THRESHOLD=FROM..TO[:VALUES]; may be given again");
  app.add_option("--station", options.stations, "SITE/STATION; may be given again; all unless given");
  app.add_option("--from", options.from, "day from which warnings count; what came before is only learnt from");
  app.add_option("--until", options.until, "day at which the trial ends");
  app.add_flag("--each", options.each, "print each warning, and what became of it");
  app.add_flag("--suggest", options.suggest, "thresholds that meet the budget, from the stations' own noise, with the evidence");
  app.add_option("--budget", options.budget, "with --suggest: false warnings a station and year; what is in force unless given")->check(CLI::Range(0.01, 100.0));
  app.add_option("--lead", options.lead_days, "with --suggest: days of lead that are wanted")->check(CLI::Range(0.0, 365.0));
  app.add_option("--fault-days", options.fault_days, "lead is told for a fault that takes this long to its limit")->check(CLI::Range(1.0, 365.0))->capture_default_str();
  app.add_flag("--no-price", options.unpriced, "warnings only");
  app.add_option("--threads", options.threads, "changes nothing but the time it takes")->check(CLI::Range(1, 64))->capture_default_str();
  app.add_option("--out", options.out, "folder for trial.json, warnings.csv, prices.csv and curves");
  app.add_flag("--json", options.json, "print the result as JSON");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (options.data.empty() == options.recordings.empty()) return refuse("give --data or recordings, one of the two");
  ConfigOutcome outcome = load_config(options.config);
  for (const ConfigProblem& problem : outcome.problems) std::cerr << text_of(problem) << '\n';
  if (!outcome.config) return exit_unusable;
  return try_out(options, outcome.config->plant, outcome.kinds);
}

}  // namespace driftline
