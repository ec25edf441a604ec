// driftline thresholds: proposals of thresholds, from first thought to being taken back.

#include <cstdlib>
#include <fstream>
#include <iostream>
#include <sstream>
#include <thread>

#include "gateway/app/clock.h"
#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/rollout.h"
#include "gateway/app/trial/material.h"
#include "gateway/app/trial/report.h"
#include "gateway/app/trial/silent_compare.h"
#include "gateway/app/verbs.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "Changes thresholds so that everybody can see what was changed, by whom and why, and take it back. A proposal is a file in\n"
    "CONFIG/proposals; put in force, it is written where a person would have written it, order and comments kept, all of it or\n"
    "nothing. A running gateway takes it with its next reload (SIGHUP).\n\n"
    "  driftline thresholds propose --config DIR --for northyard/ps-01 --set thresholds.json --why 'cries on frosty mornings'\n"
    "  driftline thresholds silent 2026-03-01-1 --config DIR --days 14     judged beside, nobody called\n"
    "  driftline thresholds compare 2026-03-01-1 --config DIR --data DATA  what it has said in silence, against what was in force\n"
    "  driftline thresholds enforce 2026-03-01-1 --config DIR --why 'agreed with the crew'\n"
    "  driftline thresholds take-back 2026-03-01-1 --config DIR --why 'two more calls at night'\n"
    "  driftline thresholds list --config DIR;  driftline thresholds log --config DIR";

struct Options {
  std::string what, name, config, data, target, set, why, by;
  int days = 14;
  bool again = false;
};

int refuse(const std::string& why) {
  std::cerr << "driftline thresholds: " << why << '\n';
  return exit_failed;
}

std::string shown_time(Time time) { return rfc3339(time).substr(0, 16) + "Z"; }

void print_done(const rollout::Done& done) {
  std::cout << "  " << shown_time(done.at) << "  " << name_of(done.act) << " by " << done.by;
  if (done.days > 0) std::cout << " for " << done.days << " days";
  std::cout << (done.why.empty() ? "" : ": " + done.why) << '\n';
}

int list(const Options& options, bool log) {
  std::vector<ConfigProblem> problems;
  const auto all = rollout::proposals(options.config, problems);
  for (const ConfigProblem& problem : problems) std::cerr << "driftline thresholds: " << text_of(problem) << '\n';
  for (const rollout::Proposal& proposal : all) {
    std::cout << proposal.name << "  " << name_of(proposal.state()) << "  for " << proposal.target << "  " << proposal.thresholds << '\n';
    if (log)
      for (const rollout::Done& done : proposal.done) print_done(done);
  }
  if (all.empty()) std::cout << "no proposals\n";
  return problems.empty() ? exit_done : exit_failed;
}

int propose(const Options& options) {
  std::string text = options.set;
  if (std::ifstream file(options.set, std::ios::binary); file.is_open()) {
    std::ostringstream all;
    all << file.rdbuf();
    text = all.str();
  } else if (text.find('{') == std::string::npos) {
    return refuse(options.set + " cannot be read; right would be a file of thresholds, or JSON such as {\"plan_days\":21}");
  }
  const auto proposal = rollout::propose(options.config, {options.target, text, options.by, options.why}, wall_now());
  if (!proposal) return refuse(proposal.error());
  std::cout << "proposed as " << proposal->name << " for " << proposal->target << ": " << proposal->thresholds << '\n';
  return exit_done;
}

int tell(const rollout::Or<rollout::Outcome>& outcome) {
  if (!outcome) return refuse(outcome.error());
  std::cout << outcome->proposal.name << " is " << name_of(outcome->proposal.state()) << '\n';
  for (const std::string& file : outcome->files) std::cout << "  written: " << file << '\n';
  for (const std::string& note : outcome->notes) std::cout << "  " << note << '\n';
  if (!outcome->files.empty()) std::cout << "  a running gateway takes it with its next reload (SIGHUP)\n";
  return exit_done;
}

// What was judged in silence and kept. False: nothing was.
bool tell_silence(const Options& options, const rollout::Proposal& proposal, const std::vector<StationId>& stations) {
  const rollout::Done* silent = proposal.last(rollout::Act::silent);
  if (silent == nullptr || options.again) return false;
  const auto comparison = trial::compare_silent(options.data, proposal, stations);
  if (!comparison) return false;
  std::cout << proposal.name << ", judged in silence since " << shown_time(silent->at) << " for " << silent->days << " days, up to " << shown_time(comparison->until) << '\n'
            << trial::words_of(*comparison) << '\n';
  for (const std::string& line : trial::lines_of(*comparison)) std::cout << "  " << line << '\n';
  return true;
}

// What the proposal said in silence; else what it would have said, judged now: since it went silent, or ever, where it did not.
int compare(const Options& options) {
  const auto proposal = rollout::proposal_named(options.config, options.name);
  if (!proposal) return refuse(proposal.error());
  const ConfigOutcome config = load_config(options.config);
  if (!config.config) return refuse("the configuration cannot be used");
  const auto stations = rollout::stations_of(*proposal, config);
  if (stations.empty()) return refuse("no configured station is meant by \"" + proposal->target + "\"");
  if (tell_silence(options, *proposal, stations)) return exit_done;
  auto material = trial::material_of_history(options.data + "/history.db", stations, std::nullopt);
  if (!material) return refuse(material.error());
  std::string since = "all that is kept";
  for (const rollout::Done& done : proposal->done)
    if (done.act == rollout::Act::silent) {
      material->from = done.at;
      since = shown_time(done.at) + ", silent for " + std::to_string(static_cast<int>(days_between(done.at, wall_now()))) + " of " + std::to_string(done.days) + " days";
    }
  const trial::Contexts in_force = trial::contexts_of(material->stations, config.config->plant);
  std::vector<ConfigProblem> problems;
  auto candidate = trial::candidate_of_text(proposal->thresholds, proposal->name, in_force, problems);
  if (!candidate) return refuse(text_of(problems.front()));
  trial::TrialSettings how;
  how.threads = static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
  const auto report = trial::run_trial(*material, in_force, {std::move(*candidate)}, how, [](std::size_t, std::size_t) {});
  std::cout << proposal->name << " against what is in force, since " << since << '\n' << trial::report_table(report, true);
  return exit_done;
}

std::string user_name() {
  const char* name = std::getenv("USER");
  return name == nullptr ? "" : name;
}

}  // namespace

int verb_thresholds(Arguments arguments) {
  Options options;
  options.by = user_name();
  CLI::App app(help_text, "driftline thresholds");
  app.add_option("what", options.what, "what to do")
      ->required()
      ->check(CLI::IsMember({"propose", "list", "log", "silent", "compare", "enforce", "take-back", "withdraw"}));
  app.add_option("name", options.name, "the proposal, as list names it");
  app.add_option("--config", options.config, "configuration folder")->required();
  app.add_option("--data", options.data, "with compare: data folder of the gateway");
  app.add_option("--for", options.target, "with propose: SITE/STATION, several with commas, \"site NAME\", \"kind NAME\" or \"all\"");
  app.add_option("--set", options.set, "with propose: a file of thresholds as rules.json is one, or the JSON itself");
  app.add_flag("--again", options.again, "with compare: judge now with the history, whatever was judged in silence");
  app.add_option("--days", options.days, "with silent: how long")->check(CLI::Range(1, 366))->capture_default_str();
  app.add_option("--why", options.why, "the reason, for those who come later");
  app.add_option("--by", options.by, "who does it")->capture_default_str();
  if (const auto code = parse_command_line(app, arguments)) return *code;
  const auto usage = [](const std::string& why) {
    std::cerr << "driftline thresholds: " << why << '\n';
    return exit_unusable;
  };
  if (options.what == "list" || options.what == "log") return list(options, options.what == "log");
  if (options.what != "compare" && options.by.empty()) return usage("--by is missing: who does it");
  if (options.what == "propose") {
    if (options.target.empty() || options.set.empty() || options.why.empty()) return usage("propose takes --for, --set and --why");
    return propose(options);
  }
  if (options.name.empty()) return usage(options.what + " takes the name of a proposal; driftline thresholds list shows them");
  if (options.what == "compare") return options.data.empty() ? usage("compare takes --data") : compare(options);
  const Time now = wall_now();
  if (options.what == "silent") return tell(rollout::go_silent(options.config, options.name, options.days, options.by, options.why, now));
  if (options.why.empty()) return usage(options.what + " takes --why: the reason, for those who come later");
  if (options.what == "enforce") return tell(rollout::put_in_force(options.config, options.name, options.by, options.why, now));
  if (options.what == "take-back") return tell(rollout::take_back(options.config, options.name, options.by, options.why, now));
  return tell(rollout::withdraw(options.config, options.name, options.by, options.why, now));
}

}  // namespace driftline
