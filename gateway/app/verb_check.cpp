// driftline check: a configuration folder, before the gateway takes it.

#include <iostream>
#include <nlohmann/json.hpp>

#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/verbs.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "Checks a configuration folder and says of each mistake the file, the place (JSON Pointer), what is "
    "wrong and what\n"
    "would be right. Nothing is changed and nothing is connected to. Exit code 0: the gateway would start "
    "with it;\n"
    "1: it would not. Cautions do not keep it from starting.\n\n"
    "With --explain it also prints every threshold of one station and the file that the value comes from.";

nlohmann::json as_json(const std::vector<ConfigProblem>& problems) {
  auto list = nlohmann::json::array();
  for (const ConfigProblem& problem : problems)
    list.push_back(
        {{"file", problem.file}, {"at", problem.at}, {"why", problem.why}, {"remedy", problem.remedy}});
  return list;
}

void print_json(const ConfigOutcome& outcome) {
  nlohmann::json out{{"usable", outcome.config.has_value()},
                     {"problems", as_json(outcome.problems)},
                     {"cautions", as_json(outcome.cautions)}};
  if (outcome.config) out["stations"] = outcome.config->plant.stations.size();
  for (const auto& [id, thresholds] : outcome.explained)
    for (const EffectiveThreshold& threshold : outcome.config ? thresholds : std::vector<EffectiveThreshold>{})
      out["thresholds"].push_back({{"name", threshold.name},
                                   {"value", nlohmann::json::parse(threshold.value)},
                                   {"from", threshold.from}});
  std::cout << out.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
}

void print_problems(const std::vector<ConfigProblem>& problems, const char* sort) {
  for (const ConfigProblem& problem : problems) {
    std::cout << sort << problem.file << (problem.at.empty() ? "" : "  " + problem.at) << "\n    "
              << problem.why << '\n';
    if (!problem.remedy.empty()) std::cout << "    right would be: " << problem.remedy << '\n';
  }
}

void print_explained(const ConfigOutcome& outcome) {
  // Of what is refused nothing holds: values read past the mistakes would look as if they did.
  if (!outcome.config) {
    if (!outcome.explained.empty()) std::cout << "\nno thresholds are explained: nothing of this configuration would be used\n";
    return;
  }
  for (const auto& [id, thresholds] : outcome.explained) {
    const bool configured = outcome.config->plant.stations.contains(id);
    std::cout << "\nthresholds of " << id.site << '/' << id.station
              << (configured ? "" : " (no file names it: the defaults)") << '\n';
    std::size_t widest = 0;
    for (const EffectiveThreshold& threshold : thresholds) widest = std::max(widest, threshold.name.size());
    for (const EffectiveThreshold& threshold : thresholds)
      std::cout << "  " << threshold.name << std::string(widest + 2 - threshold.name.size(), ' ')
                << threshold.value
                << std::string(threshold.value.size() < 8 ? 8 - threshold.value.size() : 1, ' ')
                << threshold.from << '\n';
  }
}

void print_text(const ConfigOutcome& outcome, const std::string& folder) {
  print_problems(outcome.problems, "");
  print_problems(outcome.cautions, "caution: ");
  if (outcome.config)
    std::cout << folder << " can be used: " << outcome.config->plant.stations.size() << " stations"
              << (outcome.config->plant.watch_unknown_stations ? ", others are watched with defaults"
                                                               : ", others are not watched")
              << '\n';
  else
    std::cout << folder << " cannot be used: " << outcome.problems.size()
              << (outcome.problems.size() == 1 ? " problem\n" : " problems\n");
  print_explained(outcome);
}

std::optional<StationId> station_named(const std::string& text) {
  const auto slash = text.find('/');
  if (slash == std::string::npos || slash == 0 || slash + 1 == text.size()) return std::nullopt;
  return StationId{text.substr(0, slash), text.substr(slash + 1)};
}

}  // namespace

int verb_check(Arguments arguments) {
  std::string folder;
  std::string explain;
  bool json = false;
  CLI::App app(help_text, "driftline check");
  app.add_option("--config,config", folder, "configuration folder; the word --config may be left out");
  app.add_option("--explain", explain, "SITE/STATION: print its thresholds and where each comes from");
  app.add_flag("--json", json, "print the result as JSON");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (folder.empty()) {
    std::cerr << "driftline check: no configuration folder is given: driftline check --config DIR\n";
    return exit_unusable;
  }
  const auto station = explain.empty() ? std::nullopt : station_named(explain);
  if (!explain.empty() && !station) {
    std::cerr << "driftline check: --explain takes SITE/STATION, such as northyard/ps-01\n";
    return exit_unusable;
  }
  const ConfigOutcome outcome = load_config(folder, station);
  if (json)
    print_json(outcome);
  else
    print_text(outcome, folder);
  return outcome.config ? exit_done : exit_failed;
}

}  // namespace driftline
