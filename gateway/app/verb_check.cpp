// driftline check: a configuration folder, before the gateway takes it.

#include <iostream>
#include <nlohmann/json.hpp>

#include "gateway/app/clock.h"
#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/verbs.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

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

// SITE/STATION[/line-N]:CONDITION:URGENCY[@TIME]
struct WhoAsked {
  history::WarningRef warning;
  Urgency urgency = Urgency::act;
  Time time{};
};

std::optional<WhoAsked> who_asked(const std::string& text) {
  WhoAsked asked;
  const auto at = text.find('@');
  if (at != std::string::npos) {
    const auto time = parse_rfc3339(text.substr(at + 1));
    if (!time) return std::nullopt;
    asked.time = *time;
  } else {
    asked.time = wall_now();
  }
  std::string rest = text.substr(0, at);
  const auto urgency_at = rest.rfind(':');
  if (urgency_at == std::string::npos) return std::nullopt;
  const auto urgency = urgency_named(rest.substr(urgency_at + 1));
  rest.resize(urgency_at);
  const auto condition_at = rest.rfind(':');
  if (!urgency || condition_at == std::string::npos) return std::nullopt;
  const auto condition = condition_named(rest.substr(condition_at + 1));
  rest.resize(condition_at);
  const auto slash = rest.find('/');
  if (!condition || slash == std::string::npos || slash == 0 || slash + 1 == rest.size()) return std::nullopt;
  asked.urgency = *urgency;
  asked.warning.station.site = rest.substr(0, slash);
  asked.warning.station.station = rest.substr(slash + 1);
  if (const auto line_at = asked.warning.station.station.find("/line-"); line_at != std::string::npos) {
    const std::string number = asked.warning.station.station.substr(line_at + 6);
    if (number.size() != 1 || number[0] < '1' || number[0] > '8') return std::nullopt;
    asked.warning.line = number[0] - '0';
    asked.warning.station.station.resize(line_at);
  }
  asked.warning.condition = *condition;
  return asked;
}

void print_who(const messages::DutyList& duty, const WhoAsked& asked) {
  const std::string& zone = messages::zone_of(duty, asked.warning.station.site);
  const messages::Local local = messages::local_of(asked.time, zone);
  const auto two = [](int v) { return (v < 10 ? "0" : "") + std::to_string(v); };
  static constexpr const char* days[]{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"};
  std::cout << "\nat " << rfc3339(asked.time) << ", a " << days[local.weekday] << ", " << two(local.minute / 60) << ':' << two(local.minute % 60) << " in " << zone << '\n';
  const messages::Choice choice = messages::choose(duty, asked.warning, asked.urgency, asked.time);
  for (const std::string& why : choice.why) std::cout << "  " << why << '\n';
  const auto quiet = asked.urgency == Urgency::act ? std::nullopt : messages::quiet_until(duty, asked.time, zone);
  if (quiet) std::cout << "  quiet hours hold it back until " << rfc3339(*quiet) << '\n';
  for (std::size_t i = 0; i < choice.people.size(); ++i) {
    const bool all_at_once = choice.line == nullptr;
    std::cout << "  " << (i == 0 || all_at_once ? std::string(quiet ? "then" : "at once") : "after " + std::to_string(static_cast<int>(i) * choice.line->after_min) + " min without an answer") << ": " << choice.people[i];
    for (const auto& [channel, address] : duty.people.at(choice.people[i]).channels) std::cout << ", " << channel << " " << address;
    std::cout << '\n';
  }
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
  std::string who;
  bool json = false;
  bool words = false;
  CLI::App app(help_text, "driftline check");
  app.add_option("--config,config", folder, "configuration folder; the word --config may be left out");
  app.add_option("--explain", explain, "SITE/STATION: print its thresholds and where each comes from");
  app.add_option("--who", who, "SITE/STATION[/line-N]:CONDITION:URGENCY[@TIME]: who would be told, and why");
  app.add_flag("--json", json, "print the result as JSON");
  app.add_flag("--words", words, "print every text of the messages, as a file to translate");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (words) {
    nlohmann::json all(messages::Words().all());
    std::cout << all.dump(2) << '\n';
    return exit_done;
  }
  if (folder.empty()) {
    std::cerr << "driftline check: no configuration folder is given: driftline check --config DIR\n";
    return exit_unusable;
  }
  const auto station = explain.empty() ? std::nullopt : station_named(explain);
  if (!explain.empty() && !station) {
    std::cerr << "driftline check: --explain takes SITE/STATION, such as northyard/ps-01\n";
    return exit_unusable;
  }
  const auto asked = who.empty() ? std::nullopt : who_asked(who);
  if (!who.empty() && !asked) {
    std::cerr << "driftline check: --who takes SITE/STATION[/line-N]:CONDITION:URGENCY[@TIME], such as northyard/ps-01:slow-to-pressure:act@2026-03-01T22:30:00Z\n";
    return exit_unusable;
  }
  const ConfigOutcome outcome = load_config(folder, station);
  if (json)
    print_json(outcome);
  else
    print_text(outcome, folder);
  if (asked && outcome.config) {
    if (outcome.config->duty)
      print_who(*outcome.config->duty, *asked);
    else
      std::cout << "\nthere is no duty.json: nobody is told\n";
  }
  return outcome.config ? exit_done : exit_failed;
}

}  // namespace driftline
