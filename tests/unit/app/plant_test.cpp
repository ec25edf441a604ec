#include "gateway/app/plant.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr std::int64_t day_start_ms = 1'772'323'200'000;  // 2026-03-01T00:00:00Z

// One station of an invented plant: two lines, a cycle of half an hour, a metering plateau at 70 bar.
struct Rig {
  StationId id;
  std::int64_t first_turn_ms = 0;
  double slope_bar_per_s = 4.0;
};

double pressure_bar(double since_start_s, double slope) {
  const double rise = slope * since_start_s;
  if (rise < 70) return rise;
  const double plateau_s = 20;
  const double on_plateau_s = since_start_s - 70 / slope;
  return on_plateau_s < plateau_s ? 70 + 0.2 * on_plateau_s : 74 + 3 * slope * (on_plateau_s - plateau_s);
}

void add_sample(std::vector<Message>& out, const Rig& rig, std::int64_t ms, bool pump, int line,
                std::array<double, 2> bar) {
  std::array<char, 256> text{};
  std::snprintf(text.data(), text.size(),
                R"({"time":%lld,"pump":%s,"line":%d,"pressure_bar":[%.1f,%.1f],"level_pct":70,"temp_c":12.5})",
                static_cast<long long>(ms), pump ? "true" : "false", line, bar[0], bar[1]);
  out.push_back({time_from_ms(ms + 40), "grease/" + rig.id.site + "/" + rig.id.station + "/telemetry", text.data()});
}

// A turn pumps at 1 Hz until 180 bar, vents at 1 Hz for 40 s, then rests with a sample a minute.
void add_turn(std::vector<Message>& out, const Rig& rig, std::int64_t start_ms, int line) {
  double bar = 0;
  std::int64_t at_ms = 0;
  const auto both = [&](double of_line) {
    return line == 1 ? std::array{of_line, 0.3} : std::array{0.3, of_line};
  };
  for (; bar < 180; at_ms += 1000) {
    bar = pressure_bar(static_cast<double>(at_ms) / 1000.0, rig.slope_bar_per_s);
    add_sample(out, rig, start_ms + at_ms, bar < 180, line, both(std::min(bar, 181.0)));
  }
  for (int s = 0; s < 40; ++s, at_ms += 1000)
    add_sample(out, rig, start_ms + at_ms, false, line, both(180 * std::exp(-s / 6.0) + 0.4));
  for (at_ms += 60'000; at_ms < 890'000; at_ms += 60'000) add_sample(out, rig, start_ms + at_ms, false, line, {0.4, 0.3});
}

std::vector<PlantMessage> plant_stream(std::int64_t hours) {
  std::vector<Message> messages;
  const std::vector<Rig> rigs{{{"northyard", "ps-01"}, 30'000, 4.0},
                              {{"northyard", "ps-02"}, 130'000, 3.1},
                              {{"southpit", "crusher.1"}, 77'000, 2.2}};
  for (const Rig& rig : rigs) {
    messages.push_back({time_from_ms(day_start_ms), "grease/" + rig.id.site + "/" + rig.id.station + "/settings",
                        R"({"cycle_s":1800,"pump_limit_s":240,"target_bar":180,"residual_bar":10,"lines":2})"});
    int line = 1;
    for (std::int64_t at = rig.first_turn_ms; at < hours * 3'600'000; at += 900'000, line = 3 - line)
      add_turn(messages, rig, day_start_ms + at, line);
  }
  messages.push_back({time_from_ms(day_start_ms + 5), "grease/northyard/ps-01/telemetry", R"({"pump":true})"});
  messages.push_back({time_from_ms(day_start_ms + 6), "elsewhere/northyard/ps-01/telemetry", "{}"});
  std::stable_sort(messages.begin(), messages.end(),
                   [](const Message& a, const Message& b) { return a.received < b.received; });
  std::vector<PlantMessage> numbered;
  for (Message& message : messages) numbered.push_back({numbered.size() + 1, std::move(message)});
  return numbered;
}

// Everything that was judged, as one comparable text in the order in which it was settled.
struct Told {
  std::vector<std::string> half_cycles, warnings, reservoirs, faults;
  bool operator==(const Told&) const = default;

  void add(const Judged& judged) {
    for (const auto& row : judged.half_cycles)
      half_cycles.push_back(row.station.site + "/" + row.station.station + " " + std::to_string(row.half_cycle.line) + " " +
                            rfc3339(row.half_cycle.pump_start) + " " + rfc3339(row.half_cycle.pump_stop) + " " +
                            std::to_string(row.half_cycle.time_to_pressure_s.value_or(-1)));
    for (const auto& row : judged.warnings) warnings.push_back(rfc3339(row.time) + row.station.station + row.text);
    for (const auto& row : judged.reservoirs)
      reservoirs.push_back(rfc3339(row.date) + row.station.station + std::to_string(row.level_pct.value_or(-1)));
    for (const auto& row : judged.faults) faults.push_back(rfc3339(row.received) + row.topic + row.fault.why);
  }
};

Told judge_in_batches(std::span<const PlantMessage> messages, std::size_t batch, int threads, PlantSettings settings = {}) {
  settings.threads = threads;
  Plant plant(std::move(settings));
  Told told;
  for (std::size_t at = 0; at < messages.size(); at += batch)
    told.add(plant.judge(messages.subspan(at, std::min(batch, messages.size() - at))));
  told.add(plant.finish());
  return told;
}

// Without turns every comparison below would hold for a plant that judges nothing.
TEST(Plant, finds_each_turn_of_every_station) {
  const auto messages = plant_stream(6);
  const Told told = judge_in_batches(messages, messages.size(), 1);
  EXPECT_GE(told.half_cycles.size(), 3U * 23U);
  EXPECT_LE(told.half_cycles.size(), 3U * 24U);
  EXPECT_EQ(told.faults.size(), 2U);
}

// A live gateway cuts its input where its reads happen to end; a replay elsewhere.
TEST(Plant, batches_and_threads_change_nothing) {
  const auto messages = plant_stream(6);
  const Told whole = judge_in_batches(messages, messages.size(), 1);
  for (const std::size_t batch : {std::size_t{1}, std::size_t{7}, std::size_t{1000}})
    for (const int threads : {1, 3}) EXPECT_EQ(judge_in_batches(messages, batch, threads), whole) << batch << " " << threads;
}

// Ends the plant after `killed_after` batches, keeping only what a history would have committed, and goes on from there.
Told judge_with_a_crash(std::span<const PlantMessage> messages, std::size_t batch, std::size_t killed_after,
                        std::size_t checkpoint_every, const PlantSettings& settings = {}) {
  std::map<StationId, Judged::StationSaved> stations;
  std::map<std::string, Judged::SiteSaved> sites;
  Told told;
  const auto commit = [&](const Judged& judged) {
    told.add(judged);
    for (const auto& saved : judged.stations) stations[saved.station] = saved;
    for (const auto& saved : judged.sites) sites[saved.site] = saved;
  };
  Position needed_from = 1;
  {
    Plant plant{settings};
    std::size_t done = 0;
    for (std::size_t at = 0; at < messages.size() && done < killed_after; at += batch, ++done) {
      commit(plant.judge(messages.subspan(at, std::min(batch, messages.size() - at))));
      if (done % checkpoint_every == 0) commit(plant.checkpoint(1));
    }
    needed_from = plant.needed_from().value_or(1);
  }
  Plant plant{settings};
  for (const auto& [id, saved] : stations) {
    if (id == StationId{})
      plant.restore_unplaced(saved.reached);
    else
      EXPECT_TRUE(plant.restore(id, saved.bytes)) << id.station;
  }
  for (const auto& [site, saved] : sites) EXPECT_TRUE(plant.restore_site(site, saved.bytes)) << site;
  for (std::size_t at = needed_from - 1; at < messages.size(); at += batch)
    commit(plant.judge(messages.subspan(at, std::min(batch, messages.size() - at))));
  commit(plant.finish());
  return told;
}

// A killed gateway that forgets an open turn, or judges a message twice, writes another history than an unbroken one.
TEST(Plant, goes_on_after_a_crash_as_if_nothing_had_happened) {
  const auto messages = plant_stream(6);
  const Told whole = judge_in_batches(messages, messages.size(), 1);
  const std::size_t batch = 50;
  for (std::size_t killed_after = 1; killed_after * batch < messages.size(); killed_after += 3)
    ASSERT_EQ(judge_with_a_crash(messages, batch, killed_after, 5), whole) << killed_after;
}

// A station that no configuration names must not vanish: it is judged, or its messages are faults.
TEST(Plant, unknown_stations_are_watched_or_refused_but_never_dropped) {
  const auto messages = plant_stream(1);
  PlantSettings settings;
  settings.watch_unknown_stations = false;
  Plant plant(std::move(settings));
  const Judged judged = plant.judge(messages);
  EXPECT_TRUE(judged.half_cycles.empty());
  EXPECT_EQ(judged.faults.size(), messages.size());
  EXPECT_EQ(judged.faults.front().fault.code, FaultCode::unknown_station);
}

// ---- stations that speak otherwise ----

// The shape that `in_another_shape` writes.
std::vector<Mapping> other_layout() {
  Mapping values;
  values.name = "values";
  values.topic = "works/{site}/pumps/+/{station}/values";
  values.samples = "/data";
  values.sample.time = MappedField{.at = "/t", .unit = "s"};
  values.sample.pump = MappedSwitch{.at = "/motor", .yes = {"RUN"}, .no = {"STOP"}};
  values.sample.line = MappedField{.at = "/valve", .unit = "", .scale = 1, .offset = 1};
  values.sample.line_pressures = {MappedField{.at = "/p/a", .unit = "psi"}, MappedField{.at = "/p/b", .unit = "psi"}};
  values.sample.level = MappedField{.at = "/fill", .unit = "1"};
  values.sample.temp = MappedField{.at = "/oil", .unit = "F"};
  Mapping setup;
  setup.name = "setup";
  setup.topic = "works/{site}/pumps/+/{station}/setup";
  setup.kind = TopicKind::settings;
  setup.settings.cycle = MappedField{.at = "/every", .unit = "min"};
  setup.settings.pump_limit = MappedField{.at = "/limit", .unit = "min"};
  setup.settings.target = MappedField{.at = "/end", .unit = "psi"};
  setup.settings.residual = MappedField{.at = "/rest", .unit = "psi"};
  setup.settings.lines = MappedField{.at = "/lines", .unit = ""};
  return {values, setup};
}

PlantSettings with_other_layout() {
  PlantSettings settings;
  settings.mappings = other_layout();
  return settings;
}

// A pound-force a square inch is 6894.757 Pa: NIST SP 811 (2008), appendix B.8, 6.894757 E+03 (from memory).
constexpr double psi_in_a_bar = 1e5 / 6894.757;

nlohmann::json values_of(const nlohmann::json& native) {
  return {{"t", native.at("time").get<double>() / 1000},
          {"motor", native.at("pump").get<bool>() ? "RUN" : "STOP"},
          {"valve", native.at("line").get<int>() - 1},
          {"p", {{"a", native.at("pressure_bar").at(0).get<double>() * psi_in_a_bar},
                 {"b", native.at("pressure_bar").at(1).get<double>() * psi_in_a_bar}}},
          {"fill", native.at("level_pct").get<double>() / 100},
          {"oil", native.at("temp_c").get<double>() * 1.8 + 32}};
}

nlohmann::json setup_of(const nlohmann::json& native) {
  return {{"every", native.at("cycle_s").get<double>() / 60},
          {"limit", native.at("pump_limit_s").get<double>() / 60},
          {"end", native.at("target_bar").get<double>() * psi_in_a_bar},
          {"rest", native.at("residual_bar").get<double>() * psi_in_a_bar},
          {"lines", native.at("lines")}};
}

// All stations but ps-01 under other topics, in psi, F, minutes and words.
std::vector<PlantMessage> in_another_shape(std::vector<PlantMessage> messages) {
  for (PlantMessage& arrived : messages) {
    Message& message = arrived.message;
    const TopicOutcome native = read_topic("grease", message.topic);
    if (!native.topic || native.station->station == "ps-01") continue;
    const auto payload = nlohmann::json::parse(message.payload);
    const std::string station = "works/" + native.station->site + "/pumps/hall 3/" + native.station->station;
    if (native.topic->kind == TopicKind::settings) {
      message = {message.received, station + "/setup", setup_of(payload).dump()};
    } else {
      message = {message.received, station + "/values", nlohmann::json{{"data", values_of(payload)}}.dump()};
    }
  }
  return messages;
}

std::vector<Judged::HalfCycleRow> half_cycles_of(std::span<const PlantMessage> messages, PlantSettings settings) {
  Plant plant(std::move(settings));
  auto rows = plant.judge(messages).half_cycles;
  for (auto& row : plant.finish().half_cycles) rows.push_back(std::move(row));
  return rows;
}

// A plant that was there before the gateway would be judged otherwise than one that speaks our own shape.
TEST(Plant, a_station_in_other_topics_and_units_is_judged_like_a_native_one) {
  const auto messages = plant_stream(6);
  const auto others = in_another_shape(messages);
  const auto native = half_cycles_of(messages, {});
  const auto mapped = half_cycles_of(others, with_other_layout());
  ASSERT_EQ(mapped.size(), native.size());
  const double rounding_s = 0.0011;  // the handbook's psi has 7 digits, and times are told to the millisecond
  for (std::size_t i = 0; i < native.size(); ++i) {
    const HalfCycle& ours = mapped[i].half_cycle;
    const HalfCycle& theirs = native[i].half_cycle;
    EXPECT_EQ(mapped[i].station, native[i].station) << i;
    EXPECT_EQ(ours.line, theirs.line) << i;
    EXPECT_NEAR(seconds_between(theirs.pump_start, ours.pump_start), 0, rounding_s) << i;
    EXPECT_NEAR(seconds_between(theirs.pump_stop, ours.pump_stop), 0, rounding_s) << i;
    EXPECT_NEAR(ours.time_to_pressure_s.value_or(-1), theirs.time_to_pressure_s.value_or(-1), rounding_s) << i;
  }
  const Told told = judge_in_batches(others, others.size(), 1, with_other_layout());
  const Told native_told = judge_in_batches(messages, messages.size(), 1);
  EXPECT_EQ(told.warnings, native_told.warnings);
  EXPECT_EQ(told.reservoirs, native_told.reservoirs);
  EXPECT_EQ(told.faults, native_told.faults);
  EXPECT_LE(half_cycles_of(others, {}).size(), 24U) << "they are read without the mappings";
}

// A second decoder in the fold could hold something back from message to message.
TEST(Plant, batches_threads_and_a_crash_change_nothing_for_mapped_stations) {
  const auto messages = in_another_shape(plant_stream(6));
  const PlantSettings settings = with_other_layout();
  const Told whole = judge_in_batches(messages, messages.size(), 1, settings);
  for (const std::size_t batch : {std::size_t{7}, std::size_t{1000}})
    EXPECT_EQ(judge_in_batches(messages, batch, 3, settings), whole) << batch;
  const std::size_t batch = 50;
  for (std::size_t killed_after = 1; killed_after * batch < messages.size(); killed_after += 13)
    ASSERT_EQ(judge_with_a_crash(messages, batch, killed_after, 5, settings), whole) << killed_after;
}

// A mapping that is too wide would take the native stations' messages for its own.
TEST(Plant, what_lies_under_the_root_is_native_whatever_the_mappings_say) {
  const auto messages = plant_stream(1);
  PlantSettings settings;
  settings.mappings = other_layout();
  settings.mappings[0].topic = "+/{site}/{station}/telemetry";
  const Told told = judge_in_batches(messages, messages.size(), 1, std::move(settings));
  Told native = judge_in_batches(messages, messages.size(), 1);
  ASSERT_EQ(told.faults.size(), native.faults.size());
  EXPECT_THAT(told.faults.back(), testing::Not(testing::HasSubstr("is not a station's topic"))) << "the mapping fits nothing";
  native.faults = told.faults;
  EXPECT_EQ(told, native);
}

// Faults of topics that nothing fits are how an engineer sees that a mapping is wrong.
TEST(Plant, topics_that_no_mapping_fits_or_that_name_no_station_are_faults) {
  Plant plant(with_other_layout());
  const std::vector<PlantMessage> messages{
      {1, {time_from_ms(day_start_ms), "works/northyard/ps-02/values", "{}"}},
      {2, {time_from_ms(day_start_ms), "works/north yard/pumps/1/ps-02/values", "{}"}}};
  const Judged judged = plant.judge(messages);
  ASSERT_EQ(judged.faults.size(), 2U);
  for (const auto& row : judged.faults) EXPECT_EQ(row.fault.code, FaultCode::bad_topic);
  EXPECT_TRUE(plant.stations().empty());
}

// A mapping put right would help only after a restart.
TEST(Plant, new_mappings_are_used_from_the_next_message_on) {
  const auto messages = in_another_shape(plant_stream(2));
  PlantSettings wrong = with_other_layout();
  wrong.mappings[0].samples = "/values";
  Plant plant(std::move(wrong));
  const std::span<const PlantMessage> all(messages);
  const Judged before = plant.judge(all.first(all.size() / 2));
  EXPECT_GT(before.faults.size(), all.size() / 4);
  plant.reconfigure(with_other_layout());
  EXPECT_TRUE(plant.judge(all.subspan(all.size() / 2)).faults.empty());
}

}  // namespace
}  // namespace driftline
