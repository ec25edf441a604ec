#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "gateway/app/config.h"
#include "gateway/app/config_schema.h"
#include "gateway/app/quiet_text.h"
#include "gateway/app/thresholds_json.h"
#include "rules/records/names.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

class ConfigFolder {
 public:
  void put(const std::string& name, const std::string& text) const {
    const fs::path path = fs::path(folder_.path()) / name;
    fs::create_directories(path.parent_path());
    std::ofstream(path) << text;
  }
  [[nodiscard]] std::string path() const { return fs::path(folder_.path()).string(); }
  [[nodiscard]] ConfigOutcome load(const std::optional<StationId>& explain = std::nullopt) const {
    return load_config(path(), explain);
  }

 private:
  testing::TempFolder folder_;
};

constexpr auto one_station = R"({"topic_root": "grease", "stations": [{
  "site": "northyard", "station": "ps-01", "lines": 2, "target_bar": 180.0, "pump_limit_s": 240.0, "cycle_s": 2880.0,
  "residual_bar": 10.0, "displacement_cm3_min": 60.0, "reservoir_kg": 15.0, "low_pct": 10.0, "empty_pct": 3.0,
  "level_sensor": true, "low_level_switch": false,
  "design": {"grease_density_kg_l": 0.9, "bore_mm": 10.0, "length_m": [12.0, 15.0], "devices": [20, 23], "charges_cm3": [30.2, 31.8]}}]})";

TEST(Config, an_empty_folder_watches_unknown_stations_with_defaults) {
  // The first hour with a new plant would begin with writing files.
  const ConfigFolder folder;
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config);
  EXPECT_TRUE(outcome.config->plant.watch_unknown_stations);
  EXPECT_TRUE(outcome.config->plant.stations.empty());
  EXPECT_EQ(outcome.config->plant.defaults, Thresholds{});
  EXPECT_EQ(outcome.config->broker, broker::BrokerSettings{});
  EXPECT_FALSE(outcome.config->metrics);
}

TEST(Config, a_station_is_read_as_built) {
  // A figure lost on the way would shift what is expected of a line.
  const ConfigFolder folder;
  folder.put("plant.json", one_station);
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config);
  EXPECT_TRUE(outcome.cautions.empty());
  const rules::StationContext& station = outcome.config->plant.stations.at({"northyard", "ps-01"});
  EXPECT_EQ(station.design.settings, (ControllerSettings{2880.0, 240.0, 180.0, 10.0, 2}));
  const std::vector<LineDesign> lines{{12.0, 10.0, 20, 30.2}, {15.0, 10.0, 23, 31.8}};
  EXPECT_EQ(station.design.lines, lines);
  EXPECT_EQ(station.design.low_level_switch, false);
  EXPECT_EQ(station.design.grease_density_kg_l, 0.9);
  EXPECT_EQ(station.design.empty_pct, 3.0);
  EXPECT_EQ(station.thresholds, Thresholds{});
}

TEST(Config, a_lone_file_of_another_name_and_the_file_itself_are_plant_files) {
  // What the commissioning engineer hands over has whatever name it has.
  const ConfigFolder folder;
  folder.put("as-built.json", one_station);
  folder.put("measured.json", R"({"format": "other", "stations": []})");
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config);
  EXPECT_EQ(outcome.config->plant.stations.size(), 1U);
  ASSERT_EQ(outcome.cautions.size(), 1U);
  EXPECT_EQ(outcome.cautions[0].file, "measured.json");
  const ConfigOutcome file = load_config(folder.path() + "/as-built.json");
  ASSERT_TRUE(file.config);
  EXPECT_EQ(file.config->plant.stations, outcome.config->plant.stations);
}

TEST(Config, comments_and_unknown_figures_of_a_station_are_passed_over) {
  // A file that serves other programs too could not be used.
  const ConfigFolder folder;
  folder.put("plant/north.json",
             "// by the commissioning engineer\n{\"stations\": [ /* one */ {\"site\": \"northyard\", "
             "\"station\": \"ps-01\", \"asset\": 4711}]}");
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config);
  ASSERT_EQ(outcome.cautions.size(), 1U);
  EXPECT_EQ(outcome.cautions[0].at, "/stations/0/asset");
}

TEST(Config, thresholds_come_in_layers_and_each_knows_from_which) {
  // An engineer would change a value that a later layer overrides.
  const ConfigFolder folder;
  folder.put(
      "rules.json",
      R"({"plan_days": 10, "act_days": 2, "silent_after_s": 900, "conditions": {"slow-vent": {"watched": false, "smallest_shift_pct": 20}}})");
  folder.put("kinds/twin.json",
             R"({"plan_days": 20, "conditions": {"slow-vent": {"smallest_shift_pct": 15}}})");
  folder.put("sites/northyard.json", R"({"turns_to_learn": 60, "silent_after_s": null})");
  folder.put(
      "plant.json",
      R"({"stations": [{"site": "northyard", "station": "ps-01", "kind": "twin", "thresholds": {"act_days": 1}}]})");
  const StationId id{"northyard", "ps-01"};
  const ConfigOutcome outcome = folder.load(id);
  ASSERT_TRUE(outcome.config);
  Thresholds expected;
  expected.plan_days = 20;
  expected.act_days = 1;
  expected.turns_to_learn = 60;
  ConditionThresholds& vent = expected.conditions[static_cast<std::size_t>(Condition::slow_vent)];
  vent.watched = false;
  vent.smallest_shift = 15;
  EXPECT_EQ(outcome.config->plant.stations.at(id).thresholds, expected);
  EXPECT_EQ(outcome.config->plant.defaults.plan_days, 10);
  const auto& told = outcome.explained.at(id);
  const auto from = [&](const std::string& name) {
    return std::ranges::find(told, name, &EffectiveThreshold::name)->from;
  };
  EXPECT_EQ(from("plan_days"), "kinds/twin.json");
  EXPECT_EQ(from("act_days"), "plant.json /stations/0/thresholds");
  EXPECT_EQ(from("turns_to_learn"), "sites/northyard.json");
  EXPECT_EQ(from("silent_after_s"), "built-in (sites/northyard.json takes back what stood before)");
  EXPECT_EQ(from("conditions/slow-vent/watched"), "rules.json");
  EXPECT_EQ(from("conditions/slow-vent/smallest_shift_pct"), "kinds/twin.json");
  EXPECT_EQ(from("reservoir_act_days"), "built-in");
}

TEST(Config, a_condition_s_numbers_reach_the_rules_and_the_nearest_shift_counts) {
  // An engineer's seconds would be held back by somebody's per cent, or a period be read and forgotten.
  const ConfigFolder folder;
  folder.put("rules.json", R"({"quiet": ["Sat 14:00/Mon 05:00", "2026-12-24/2027-01-02"],
    "conditions": {"slow-to-pressure": {"smallest_shift_pct": 3, "plan_days": 21, "act_days": 5, "limit_s": 240},
                   "peak-shift": {"limit_bar": 210, "smallest_shift_bar": 4}, "residual-pressure": {"limit_bar": 6}, "reservoir-low": {"limit_pct": 12},
                   "missed-turn": {"quiet": []}}})");
  folder.put("sites/northyard.json", R"({"conditions": {"slow-to-pressure": {"smallest_shift_s": 6}, "peak-shift": {"smallest_shift_pct": 2}}})");
  folder.put("plant.json", R"({"stations": [{"site": "northyard", "station": "ps-01"}]})");
  const StationId id{"northyard", "ps-01"};
  const ConfigOutcome outcome = folder.load(id);
  ASSERT_TRUE(outcome.config) << text_of(outcome.problems.front());
  const Thresholds& t = outcome.config->plant.stations.at(id).thresholds;
  EXPECT_FALSE(t.of(Condition::slow_to_pressure).smallest_shift);
  EXPECT_EQ(t.of(Condition::slow_to_pressure).smallest_shift_own, 6);
  EXPECT_EQ(t.of(Condition::peak_shift).smallest_shift, 2);
  EXPECT_FALSE(t.of(Condition::peak_shift).smallest_shift_own);
  EXPECT_EQ(t.plan_days_of(Condition::slow_to_pressure), 21);
  EXPECT_EQ(t.act_days_of(Condition::slow_to_pressure), 5);
  EXPECT_EQ(t.of(Condition::slow_to_pressure).limit, 240);
  EXPECT_EQ(t.of(Condition::peak_shift).limit, 210);
  EXPECT_EQ(t.of(Condition::residual_pressure).limit, 6);
  EXPECT_EQ(t.of(Condition::reservoir_low).limit, 12);
  ASSERT_EQ(t.quiet.size(), 2U);
  EXPECT_EQ(t.quiet[0], (QuietPeriod{QuietPeriod::Every::week, 5 * 86400 + 14 * 3600, 5 * 3600}));
  EXPECT_TRUE(t.quiet_until_of(Condition::slow_vent, time_from_ms(1'798'156'800'000)));  // 2026-12-25
  EXPECT_FALSE(t.quiet_until_of(Condition::missed_turn, time_from_ms(1'798'156'800'000)));
  const auto told = [&](const std::string& name) {
    const auto& all = outcome.explained.at(id);
    const auto found = std::ranges::find(all, name, &EffectiveThreshold::name);
    return found == all.end() ? std::string("not told") : found->value + " from " + found->from;
  };
  EXPECT_EQ(told("conditions/slow-to-pressure/smallest_shift_s"), "6.0 from sites/northyard.json");
  EXPECT_EQ(told("conditions/slow-to-pressure/smallest_shift_pct"), "null from built-in (sites/northyard.json takes back what stood before)");
  EXPECT_EQ(told("conditions/slow-vent/limit_s"), "null from built-in");
  EXPECT_EQ(told("conditions/missed-turn/limit_s"), "not told");
  EXPECT_EQ(told("quiet"), "[\"Sat 14:00/Mon 05:00\",\"2026-12-24/2027-01-02\"] from rules.json");
  EXPECT_EQ(outcome.explain(id), outcome.explained.at(id));
}

TEST(Config, quiet_periods_are_written_as_they_were_read) {
  // A period that is written back by a roll-out would become another.
  for (const char* text : {"2026-12-24/2027-01-02", "22:00/05:30", "Sat 14:00/Mon 05:00", "2026-12-24T06:00Z/2026-12-24T14:00Z", "2026-12-24T06:00:30Z/2027-01-01"}) {
    const auto period = quiet_period_of(text);
    ASSERT_TRUE(period) << text;
    EXPECT_EQ(text_of(*period), text);
  }
  EXPECT_EQ(text_of(*quiet_period_of("2026-12-24T06:00+01:00/2026-12-24T14:00:00Z")), "2026-12-24T05:00Z/2026-12-24T14:00Z");
  for (const char* wrong : {"", "/", "24:00/05:00", "22:00", "22:00/22:00", "Sam 14:00/Mon 05:00", "2026-02-30/2026-03-04", "2026-12-24/2026-12-24", "2027-01-02/2026-12-24",
                            "2026-12-24/05:00", "22:00/05:60", "2:00/05:00"})
    EXPECT_FALSE(quiet_period_of(wrong)) << wrong;
}

TEST(Config, the_gateway_file_reaches_the_settings) {
  // A setting that is accepted and then forgotten misleads whoever wrote it.
  const ConfigFolder folder;
  folder.put("secret", "canal-9\n");
  folder.put(
      "gateway.json",
      R"({"topic_root": "plant/grease", "output_root": "watch", "watch_unknown_stations": false, "threads": 3,
    "data_folder": "store", "sync_interval_ms": 0,
    "broker": {"host": "broker.example", "protocol": "3.1.1", "client_id": "gate-2", "user": "u", "password_file": "secret", "tls": {}, "keep_alive_s": 20},
    "journal": {"waiting_mb_max": 64, "keep_mb": 10, "keep_days": 2}, "keep_days": {"half_cycles": 10, "warnings": 20, "faults": 5},
    "metrics": {"url": "http://127.0.0.1:8428", "interface": "v2", "token_file": "secret", "bucket": "b", "organisation": "o"}})");
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config) << text_of(outcome.problems.at(0));
  const Config& config = *outcome.config;
  EXPECT_EQ(config.plant.topic_root, "plant/grease");
  EXPECT_EQ(config.broker.telemetry_root, "plant/grease");
  EXPECT_EQ(config.broker.output_root, "watch");
  EXPECT_FALSE(config.plant.watch_unknown_stations);
  EXPECT_EQ(config.plant.threads, 3);
  EXPECT_EQ(config.store.data_folder, folder.path() + "/store");
  EXPECT_EQ(config.store.sync_every.count(), 0);
  EXPECT_EQ(config.broker.port, 8883);
  EXPECT_EQ(config.broker.protocol, broker::Protocol::mqtt_3_1_1);
  EXPECT_EQ(config.broker.password_file, folder.path() + "/secret");
  EXPECT_TRUE(config.broker.tls.has_value());
  EXPECT_EQ(config.store.journal_bytes_max, 64U << 20);
  EXPECT_EQ(config.store.keep_faults, std::chrono::hours(120));
  ASSERT_TRUE(config.metrics);
  EXPECT_EQ(config.metrics->interface, metrics::Interface::write_v2);
  EXPECT_EQ(gateway_settings(config).consumers.size(), 1U);
}

TEST(Config, the_same_names_stand_in_schema_and_table) {
  // A threshold would be accepted and never used, or used and never accepted.
  std::vector<std::string> in_schema = known_names(ConfigSchema::thresholds, "");
  std::erase(in_schema, "conditions");
  for (const std::string& condition : known_names(ConfigSchema::thresholds, "/conditions"))
    for (const std::string& name : known_names(ConfigSchema::thresholds, "/conditions/" + condition))
      in_schema.push_back("conditions/" + condition + "/" + name);
  EXPECT_THAT(threshold_names(), ::testing::UnorderedElementsAreArray(in_schema));
}

TEST(Config, mappings_are_read_for_the_plant_and_for_the_broker) {
  // A member that is lost on the way would leave a figure out, or read it in another unit.
  const ConfigFolder folder;
  folder.put("gateway.json", R"({"mappings": [
    {"name": "values", "topic": "works/{site}/pumps/+/values", "station": "ps-01", "samples": "/data", "sample": {
      "time": {"at": "/t", "unit": "s"}, "seq": {"at": "/n"}, "pump": {"at": "/motor", "yes": ["RUN"], "no": ["STOP", "OFF"]},
      "line": {"at": "/valve", "offset": 1}, "line_pressures": [{"at": ""}, {"at": "/p/b", "unit": "psi", "scale": 0.1}],
      "level": {"at": "/fill", "unit": "1"}, "level_low": {"at": "/low"}, "temp": {"at": "/oil", "unit": "F"}}},
    {"name": "list", "topic": "works/pump", "site": "northyard", "station": "ps-02", "sample": {"pressures": {"at": "/all"}}},
    {"name": "setup", "topic": "works/{site}/pumps/+/setup", "station": "ps-01", "kind": "settings", "settings": {
      "cycle": {"at": "/every", "unit": "min"}, "pump_limit": {"at": "/limit"}, "target": {"at": "/end", "unit": "psi"},
      "residual": {"at": "/rest"}, "lines": {"at": "/lines"}}},
    {"name": "link", "topic": "works/{site}/{station}/link", "kind": "presence", "online": {"at": "/up"}}]})");
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config) << text_of(outcome.problems.at(0));
  std::vector<Mapping> wanted(4);
  MappedSample& sample = wanted[0].sample;
  wanted[0].name = "values", wanted[0].topic = "works/{site}/pumps/+/values", wanted[0].station = "ps-01",
  wanted[0].samples = "/data";
  sample.time = MappedField{"/t", "s", 1, 0};
  sample.seq = MappedField{"/n", "", 1, 0};
  sample.pump = MappedSwitch{"/motor", {"RUN"}, {"STOP", "OFF"}};
  sample.line = MappedField{"/valve", "", 1, 1};
  sample.line_pressures = {MappedField{}, MappedField{"/p/b", "psi", 0.1, 0}};
  sample.level = MappedField{"/fill", "1", 1, 0};
  sample.level_low = MappedSwitch{"/low", {"true", "1"}, {"false", "0"}};
  sample.temp = MappedField{"/oil", "F", 1, 0};
  wanted[1].name = "list", wanted[1].topic = "works/pump", wanted[1].site = "northyard",
  wanted[1].station = "ps-02";
  wanted[1].sample.pressures = MappedField{"/all", "", 1, 0};
  wanted[2].name = "setup", wanted[2].topic = "works/{site}/pumps/+/setup", wanted[2].station = "ps-01",
  wanted[2].kind = TopicKind::settings;
  wanted[2].settings = {MappedField{"/every", "min", 1, 0}, MappedField{"/limit", "", 1, 0},
                        MappedField{"/end", "psi", 1, 0}, MappedField{"/rest", "", 1, 0},
                        MappedField{"/lines", "", 1, 0}};
  wanted[3].name = "link", wanted[3].topic = "works/{site}/{station}/link",
  wanted[3].kind = TopicKind::presence;
  wanted[3].online = MappedSwitch{"/up", {"true", "1"}, {"false", "0"}};
  EXPECT_EQ(outcome.config->plant.mappings, wanted);
  EXPECT_THAT(outcome.config->broker.more_filters,
              ::testing::ElementsAre("works/+/+/link", "works/+/pumps/+/setup", "works/+/pumps/+/values",
                                     "works/pump"));
  EXPECT_EQ(problem_of(gateway_settings(*outcome.config)), std::nullopt);
}

TEST(Config, the_mappings_that_the_sample_shows_can_be_used) {
  // Whoever takes the comment marks away would begin with a mistake of ours.
  std::ifstream file(fs::path(DRIFTLINE_SOURCE_DIR) / "config/gateway.json");
  std::string text;
  bool in_mappings = false;
  for (std::string line; std::getline(file, line);) {
    in_mappings = in_mappings || line.find("\"mappings\"") != std::string::npos;
    if (const auto mark = line.find("//"); in_mappings && mark != std::string::npos) line.erase(mark, 2);
    text += line + "\n";
  }
  const ConfigFolder folder;
  folder.put("gateway.json", text);
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config) << text_of(outcome.problems.at(0));
  EXPECT_EQ(outcome.config->plant.mappings.size(), 3U);
}

TEST(Config, a_whole_number_may_be_written_with_a_point) {
  // Files of programs that know one kind of number would be refused.
  const ConfigFolder folder;
  folder.put(
      "plant.json",
      R"({"stations": [{"site": "northyard", "station": "ps-01", "lines": 2.0, "design": {"devices": [20.0, 2.3e1]}}]})");
  const ConfigOutcome outcome = folder.load();
  ASSERT_TRUE(outcome.config);
  const StationDesign& design = outcome.config->plant.stations.at({"northyard", "ps-01"}).design;
  EXPECT_EQ(design.settings.lines, 2);
  EXPECT_EQ(design.lines.at(1).devices, 23);
}

TEST(Config, a_text_of_any_length_is_an_answer_and_no_crash) {
  // A broken template would take the check down instead of being told.
  const ConfigFolder folder;
  folder.put("gateway.json", R"({"metrics": {"url": "http://)" + std::string(1'000'000, 'x') + R"("}})");
  const ConfigOutcome outcome = folder.load();
  ASSERT_EQ(outcome.problems.size(), 1U);
  EXPECT_EQ(outcome.problems[0].at, "/metrics/url");
}

TEST(Config, the_samples_in_config_can_be_used) {
  // The folder that people copy to begin with would be refused.
  const ConfigOutcome outcome = load_config(DRIFTLINE_SOURCE_DIR "/config");
  EXPECT_TRUE(outcome.config) << (outcome.problems.empty() ? "" : text_of(outcome.problems[0]));
  EXPECT_TRUE(outcome.cautions.empty()) << text_of(outcome.cautions[0]);
}

}  // namespace
}  // namespace driftline
