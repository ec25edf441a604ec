// driftline simulate: stations that behave like real ones, over MQTT or into a recording.

#include <algorithm>
#include <atomic>
#include <cmath>
#include <csignal>
#include <fstream>
#include <iostream>
#include <sstream>

#include "gateway/app/clock.h"
#include "gateway/app/command_line.h"
#include "gateway/app/progress.h"
#include "gateway/app/simulation.h"
#include "gateway/app/verbs.h"
#include "gateway/simulate/invent.h"
#include "gateway/simulate/plan_text.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "Simulates pump stations: hydraulics, grease that stiffens with cold, weather, people who refill, "
    "senders and links with\n"
    "their faults, and every cause of a warning. Equal options give equal bytes.\n\n"
    "Into a recording, with what really happened (NAME.truth.json) and the stations as designed "
    "(NAME.plant.json) beside it:\n"
    "  driftline simulate --scene season --stations 17 --days 90 --seed 7 --out season.ndjson.gz\n"
    "To a broker, thirty days in three minutes; the stamps begin in the past and catch up with the clock:\n"
    "  driftline simulate --broker 127.0.0.1:1883 --days 30\n\n"
    "Scenes: demo (a few developing faults), healthy, season (a cause a station). Or an own plant: "
    "--write-plan PLAN.json,\n"
    "edit, --plan PLAN.json. More faults: --fault STATION:KIND[@LINE][:FORM[:ONSET-DAY[:LIFE-DAYS]]], "
    "STATION a name or a\n"
    "number from 1, FORM sudden, linear or accelerating; for instance --fault 2:slow-leak@1:linear:10:15; "
    "stiff-grease is a\n"
    "cold spell of the station's whole site.\n"
    "It is a testing instrument: real stations differ.";

constexpr double demo_playing_s = 180;  // all days of a demo, unless --speed is given
constexpr double stay_days = 365;

std::atomic<bool> stop_asked{false};
void ask_to_stop(int) {
  stop_asked = true;
}

struct Options {
  std::string scene = "demo";
  std::string plan_file, write_plan, write_plant, out, broker, from, topic_root, user, password_file;
  std::uint64_t seed = 1;
  double days = 30;
  int stations = 12;
  double speed = 0;
  double rush = 0;
  bool stay = false;
  bool json = false;
  std::vector<std::string> faults;
};

void add_options(CLI::App& app, Options& o) {
  app.add_option("--scene", o.scene, "what is drawn: demo, healthy or season")
      ->check(CLI::IsMember({"demo", "healthy", "season"}))
      ->capture_default_str();
  app.add_option("--plan", o.plan_file, "a plant described in JSON instead of a scene")
      ->check(CLI::ExistingFile);
  app.add_option("--write-plan", o.write_plan, "write the plant that would be simulated as JSON, and end");
  app.add_option("--write-plant", o.write_plant, "write its stations as designed, as plant.json of a configuration, and end");
  app.add_option("--seed", o.seed, "another number, another plant")->capture_default_str();
  app.add_option("--days", o.days, "length in days")->check(CLI::Range(0.01, 3660.0))->capture_default_str();
  app.add_option("--stations", o.stations, "number of stations")
      ->check(CLI::Range(1, 10000))
      ->capture_default_str();
  app.add_option("--from", o.from, "first moment, RFC 3339; with --broker: as many days ago as --days says");
  app.add_option("--fault", o.faults, "STATION:KIND[@LINE][:FORM[:ONSET-DAY[:LIFE-DAYS]]]; may be repeated");
  app.add_option("--topic-root", o.topic_root, "first level of the topics");
  app.add_option("--out", o.out, "recording to write (.ndjson or .ndjson.gz)");
  app.add_option("--broker", o.broker, "HOST[:PORT] to publish to");
  app.add_option("--speed", o.speed, "simulated seconds a second; without it all days (but those of --rush) pass in three minutes");
  app.add_option("--rush", o.rush, "with --broker: so many days first, as fast as they are taken")->check(CLI::Range(0.0, 3660.0));
  app.add_flag("--stay", o.stay, "with --broker: once caught up go on with the clock, until Ctrl-C");
  app.add_option("--user", o.user, "user at the broker");
  app.add_option("--password-file", o.password_file, "file whose first line is the password")
      ->check(CLI::ExistingFile);
  app.add_flag("--json", o.json, "print the summary as JSON");
}

std::vector<std::string> cut_at(const std::string& text, char at) {
  std::vector<std::string> parts;
  std::istringstream in(text);
  for (std::string part; std::getline(in, part, at);) parts.push_back(part);
  return parts;
}

std::optional<double> number_of(const std::string& text) {
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  return !text.empty() && *end == 0 && std::isfinite(value) ? std::optional(value) : std::nullopt;
}

// Grease stiffens for a whole site: FORM says nothing, LIFE-DAYS is the spell's length.
std::optional<std::string> add_cold_spell(simulate::PlantPlan& plan, const std::string& site,
                                          const simulate::FaultPlan& fault) {
  const auto at = std::ranges::find(plan.sites, site, &simulate::SitePlan::name);
  if (at == plan.sites.end()) return "no site is called \"" + site + "\"";
  at->climate.cold_spells.push_back({.from_day = fault.onset_day, .days = fault.life_days, .depth_c = 22});
  return std::nullopt;
}

// Empty: done. Otherwise what is wrong with it.
std::optional<std::string> add_fault(simulate::PlantPlan& plan, const std::string& text) {
  const auto parts = cut_at(text, ':');
  if (parts.size() < 2 || parts.size() > 5)
    return "\"" + text + "\" is not STATION:KIND[@LINE][:FORM[:ONSET-DAY[:LIFE-DAYS]]]";
  auto station = std::ranges::find(plan.stations, parts[0], &simulate::StationPlan::name);
  if (const auto number = number_of(parts[0]); station == plan.stations.end() && number && *number >= 1 &&
                                               *number <= static_cast<double>(plan.stations.size()))
    station = plan.stations.begin() + static_cast<std::ptrdiff_t>(*number) - 1;
  if (station == plan.stations.end()) return "no station is called \"" + parts[0] + "\"";
  const auto kind_and_line = cut_at(parts[1], '@');
  const auto kind = kind_and_line.empty() ? std::nullopt : cause_named(kind_and_line[0]);
  if (!kind) return "\"" + parts[1] + "\" is no cause; for instance slow-leak, pump-worn, vent-restricted";
  auto form = simulate::Form::linear;
  if (parts.size() > 2) {
    const auto named = simulate::form_named(parts[2]);
    if (!named) return "\"" + parts[2] + "\" is no form; sudden, linear or accelerating";
    form = *named;
  }
  simulate::FaultPlan fault = simulate::draw_fault(*kind, form, *station, plan.days);
  fault.repaired_day = 0;
  if (kind_and_line.size() > 1) {
    const auto line = number_of(kind_and_line[1]);
    if (!line || *line < 1 || *line > static_cast<double>(station->lines.size()))
      return station->name + " has no line " + kind_and_line[1];
    fault.line = static_cast<int>(*line);
  }
  for (std::size_t i = 3; i < parts.size(); ++i) {
    const auto days = number_of(parts[i]);
    if (!days || *days < 0) return "\"" + parts[i] + "\" is no number of days";
    (i == 3 ? fault.onset_day : fault.life_days) = *days;
  }
  if (*kind == Cause::stiff_grease) return add_cold_spell(plan, station->site, fault);
  station->faults.push_back(fault);
  return std::nullopt;
}

std::optional<std::string> make_plan(const Options& o, simulate::PlantPlan& plan) {
  auto from = parse_rfc3339("2026-01-05T00:00:00Z");
  if (!o.broker.empty()) from = later_by_days(wall_now(), -o.days);
  if (!o.from.empty()) from = parse_rfc3339(o.from);
  if (!from) return "\"" + o.from + "\" is no RFC 3339 time; for instance 2026-01-05T00:00:00Z";
  if (!o.plan_file.empty()) {
    std::ifstream in(o.plan_file, std::ios::binary);
    std::stringstream text;
    text << in.rdbuf();
    auto read = simulate::read_plan(text.str());
    if (!read) return o.plan_file + ": " + read.error();
    plan = std::move(*read);
    if (!o.broker.empty() || !o.from.empty())
      plan.from = o.from.empty() ? later_by_days(wall_now(), -plan.days) : *from;
  } else {
    const auto scene = o.scene == "healthy"  ? simulate::Scene::healthy
                       : o.scene == "season" ? simulate::Scene::season
                                             : simulate::Scene::demo;
    plan = simulate::invent_plant(
        {.scene = scene, .seed = o.seed, .from = *from, .days = o.days, .stations = o.stations});
  }
  if (!o.topic_root.empty()) plan.topic_root = o.topic_root;
  for (const std::string& fault : o.faults)
    if (auto wrong = add_fault(plan, fault)) return wrong;
  return std::nullopt;
}

int unusable(const std::string& why) {
  std::cerr << "driftline simulate: " << why << '\n';
  return exit_unusable;
}

int failed(const std::string& why) {
  std::cerr << "driftline simulate: " << why << '\n';
  return exit_failed;
}

std::string progress_note(const SimulationProgress& at) {
  std::ostringstream note;
  note.precision(1);
  note << std::fixed << "day " << at.days_done << " of " << at.days_total << ", " << at.messages
       << " messages";
  return note.str();
}

SimulationWatcher watcher(Progress& progress) {
  return [&progress](const SimulationProgress& at) {
    progress.show(static_cast<std::uint64_t>(std::min(at.days_done, at.days_total) * 1000),
                  static_cast<std::uint64_t>(at.days_total * 1000), progress_note(at));
  };
}

int record(const Options& o, const simulate::PlantPlan& plan) {
  std::string why;
  std::optional<RecordedSimulation> done;
  {
    Progress progress("simulate");
    done = record_simulation(plan, o.out, watcher(progress), why);
  }
  if (!done) return failed(why);
  if (o.json)
    std::cout << "{\"stations\":" << plan.stations.size() << ",\"messages\":" << done->messages
              << ",\"samples\":" << done->samples << ",\"half_cycles\":" << done->turns
              << ",\"faults\":" << done->faults << "}\n";
  else
    std::cout << plan.stations.size() << " stations, " << plan.days << " days: " << done->messages
              << " messages, " << done->samples << " samples, " << done->turns << " half-cycles, "
              << done->faults << " faults\n"
              << "written to " << o.out << ", " << done->truth.string() << ", " << done->plant.string()
              << '\n';
  return exit_done;
}

int publish(const Options& o, simulate::PlantPlan plan) {
  broker::BrokerSettings settings;
  settings.client_id = "driftline-simulate-" + std::to_string(ms_since_1970(wall_now()) % 1000000);
  const auto parts = cut_at(o.broker, ':');
  if (parts.empty() || parts.size() > 2) return unusable("\"" + o.broker + "\" is not HOST[:PORT]");
  settings.host = parts[0];
  if (parts.size() == 2) {
    const auto port = number_of(parts[1]);
    if (!port || *port < 1 || *port > 65535) return unusable("\"" + parts[1] + "\" is no port");
    settings.port = static_cast<std::uint16_t>(*port);
  }
  if (!o.user.empty()) settings.user = o.user;
  if (!o.password_file.empty()) settings.password_file = o.password_file;
  const double rush = std::min(o.rush, plan.days);
  const double speed = o.speed > 0 ? o.speed : std::max(1.0, (plan.days - rush) * 86400 / demo_playing_s);
  if (o.stay) plan.days += stay_days;
  std::signal(SIGINT, ask_to_stop);
  std::signal(SIGTERM, ask_to_stop);
  if (!o.json)
    std::cerr << plan.stations.size() << " stations to " << settings.host << ':' << settings.port << ", "
              << speed << " simulated seconds a second\n";
  std::uint64_t messages = 0;
  std::optional<std::string> failure;
  {
    Progress progress("simulate");
    bool rushing = rush > 0;
    const auto watch = [&rushing, rush, show = watcher(progress)](const SimulationProgress& at) {
      if (std::exchange(rushing, at.rushing) && !at.rushing) std::cerr << "rushed through the first " << rush << " days\n";
      show(at);
    };
    failure = publish_simulation(plan, settings, {rush, speed}, stop_asked, watch, messages);
  }
  if (failure) return failed(*failure);
  if (o.json)
    std::cout << "{\"stations\":" << plan.stations.size() << ",\"messages\":" << messages << "}\n";
  else
    std::cout << messages << " messages published\n";
  return exit_done;
}

}  // namespace

int verb_simulate(Arguments arguments) {
  Options options;
  CLI::App app(help_text, "driftline simulate");
  add_options(app, options);
  if (const auto code = parse_command_line(app, arguments)) return *code;
  const int ways = !options.out.empty() + !options.broker.empty() + !options.write_plan.empty() + !options.write_plant.empty();
  if (ways != 1) return unusable("give one of --out, --broker, --write-plan and --write-plant; --help says more");
  simulate::PlantPlan plan;
  if (const auto wrong = make_plan(options, plan)) return unusable(*wrong);
  if (!options.write_plan.empty()) {
    std::ofstream out(options.write_plan, std::ios::trunc);
    out << simulate::plan_text(plan);
    return out.flush() ? exit_done : failed("cannot write " + options.write_plan);
  }
  if (!options.write_plant.empty()) {
    std::ofstream out(options.write_plant, std::ios::trunc);
    out << simulate::plant_file_text(plan);
    return out.flush() ? exit_done : failed("cannot write " + options.write_plant);
  }
  return options.broker.empty() ? record(options, plan) : publish(options, std::move(plan));
}

}  // namespace driftline
