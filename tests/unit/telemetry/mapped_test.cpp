#include "gateway/telemetry/mapped.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "gateway/telemetry/limits.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

const Time received = *parse_rfc3339("2026-03-01T06:00:00.500Z");

// A plant that speaks of pounds, Fahrenheit, seconds and valves counted from 0.
Mapping imperial() {
  Mapping mapping;
  mapping.name = "east works";
  mapping.topic = "plant/{site}/+/{station}/state";
  mapping.samples = "/data";
  mapping.sample.time = MappedField{"/ts", "s"};
  mapping.sample.seq = MappedField{"/n", ""};
  mapping.sample.pump = MappedSwitch{"/motor/run", {"RUN", "1"}, {"STOP", "0"}};
  mapping.sample.line = MappedField{"/valve", "", 1, 1};
  mapping.sample.line_pressures = {{"/p/0", "psi"}, {"/p/1", "psi"}};
  mapping.sample.level = MappedField{"/tank", "1"};
  mapping.sample.level_low = MappedSwitch{"/tank~1low"};
  mapping.sample.temp = MappedField{"/t", "F"};
  return mapping;
}

MappedDecoder decoder_of(std::vector<Mapping> mappings) {
  auto made = MappedDecoder::make(std::move(mappings));
  if (!made) throw std::runtime_error(made.error().front().where + ": " + made.error().front().why);
  return std::move(*made);
}

Decoded decode(const Mapping& mapping, std::string_view payload) {
  MappedDecoder decoder = decoder_of({mapping});
  Decoded out;
  decoder.decode(0, payload, received, out);
  return out;
}

TEST(Mapped, another_plant_s_sample_becomes_ours) {
  // A plant with another layout or other units could not be watched, or would be misread.
  const auto out = decode(imperial(), R"({"data":{"ts":1772344800.25,"n":"7","motor":{"run":"RUN"},"valve":1,"p":["1450.3773773020923",0],)"
                                      R"("tank":0.5,"tank/low":false,"t":212}})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_THAT(out.faults, IsEmpty());
  const Sample& sample = out.samples[0];
  EXPECT_EQ(sample.time, *parse_rfc3339("2026-03-01T06:00:00.250Z"));
  EXPECT_EQ(sample.seq, 7U);
  EXPECT_EQ(sample.pump, true);
  EXPECT_EQ(sample.line, 2);
  EXPECT_NEAR(*sample.pressure.of_line(1), 100, 1e-9);
  EXPECT_EQ(sample.pressure.of_line(2), 0.0);
  EXPECT_EQ(sample.level_pct, 50.0);
  EXPECT_EQ(sample.level_low, false);
  EXPECT_NEAR(*sample.temp_c, 100, 1e-9);
}

TEST(Mapped, the_topic_names_site_and_station) {
  // Samples would be credited to the wrong station.
  Mapping fixed = imperial();
  fixed.topic = "lube/{station}";
  fixed.site = "west";
  fixed.kind = TopicKind::presence;
  fixed.online = MappedSwitch{"", {"up"}, {"down"}};
  const MappedDecoder decoder = decoder_of({imperial(), fixed});
  const auto match = decoder.match("plant/east/line 3/ps-1/state");
  ASSERT_TRUE(match);
  EXPECT_EQ(match->mapping, 0U);
  EXPECT_EQ(match->outcome.topic->station, (StationId{"east", "ps-1"}));
  EXPECT_EQ(match->outcome.topic->kind, TopicKind::telemetry);
  EXPECT_EQ(decoder.match("lube/ps-2")->outcome.topic->station, (StationId{"west", "ps-2"}));
  EXPECT_EQ(decoder.match("lube/ps-2")->outcome.topic->kind, TopicKind::presence);
  for (const char* other : {"", "plant", "plant/east/line/ps-1", "plant/east/line/ps-1/state/x", "plant/east/line/ps-1/State", "lube/"})
    EXPECT_FALSE(decoder.match(other) && decoder.match(other)->outcome.topic) << other;
  EXPECT_EQ(decoder.match("lube/ps 2")->outcome.fault->code, FaultCode::bad_topic);
  EXPECT_THAT(decoder.topic_filters(), ElementsAre("lube/+", "plant/+/+/+/state"));
}

TEST(Mapped, a_batch_s_bad_sample_faults_only_itself) {
  // One broken sample would cost a whole outage's telemetry.
  const auto out = decode(imperial(), R"({"data":[{"ts":1772344800,"valve":0},{"valve":0},{"ts":"x","valve":0},{"ts":12,"valve":0},7,{"ts":1772344801,"valve":1}]})");
  EXPECT_EQ(out.samples.size(), 2U);
  ASSERT_EQ(out.faults.size(), 4U);
  EXPECT_EQ(out.faults[0].where, "/data/1/ts");
  EXPECT_EQ(out.faults[0].code, FaultCode::missing_field);
  EXPECT_EQ(out.faults[1].code, FaultCode::time_unreadable);
  EXPECT_EQ(out.faults[2].code, FaultCode::time_implausible);
  EXPECT_EQ(out.faults[3].where, "/data/4/ts");
}

TEST(Mapped, a_bad_field_costs_only_itself) {
  // Good fields would be lost with the bad one.
  const auto out = decode(imperial(), R"({"data":{"ts":1772344800,"n":-1,"motor":{"run":"MAYBE"},"valve":8,"p":["high",1e9],"tank":4,"tank/low":[],"t":50}})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_NEAR(*out.samples[0].temp_c, 10, 1e-9);
  ASSERT_EQ(out.faults.size(), 7U);
  EXPECT_EQ(out.faults[1].where, "/data/motor/run");
  EXPECT_EQ(out.faults[1].why, "\"MAYBE\" is text");
  EXPECT_EQ(out.faults[1].remedy, "RUN or 1 or STOP or 0");
  EXPECT_EQ(out.faults[3].where, "/data/p/0");
  EXPECT_EQ(out.faults[4].code, FaultCode::out_of_range);
  EXPECT_EQ(out.faults[6].where, "/data/tank~1low");
  EXPECT_EQ(out.faults[6].code, FaultCode::wrong_type);
}

TEST(Mapped, without_a_time_of_its_own_the_time_of_arrival_stands) {
  // Controllers without a clock could not be watched.
  Mapping mapping = imperial();
  mapping.sample.time.reset();
  const auto out = decode(mapping, R"({"data":{"valve":0}})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.samples[0].time, received);
}

TEST(Mapped, our_own_form_of_time_may_stand_anywhere) {
  // RFC 3339 times of other shapes would be refused.
  Mapping mapping = imperial();
  mapping.sample.time = MappedField{"/meta/at", ""};
  EXPECT_EQ(decode(mapping, R"({"data":{"valve":0,"meta":{"at":"2026-03-01T08:00:00+02:00"}}})").samples[0].time, *parse_rfc3339("2026-03-01T06:00:00Z"));
  const auto bad = decode(mapping, R"({"data":{"valve":0,"meta":{"at":"8 o'clock"}}})");
  EXPECT_EQ(bad.faults.at(0).where, "/data/meta/at");
}

TEST(Mapped, a_list_of_pressures_is_read_like_ours) {
  // A plant with our list in another unit would need a pointer for each line.
  Mapping mapping = imperial();
  mapping.sample.line_pressures.clear();
  mapping.sample.pressures = MappedField{"/p", "MPa", 1, -0.101325};
  const auto out = decode(mapping, R"({"data":{"ts":1772344800,"p":[18.101325,null,"x",true]}})");
  ASSERT_EQ(out.samples.size(), 1U);
  EXPECT_NEAR(*out.samples[0].pressure.of_line(1), 180, 1e-9);
  EXPECT_EQ(out.samples[0].pressure.lines, 4);
  EXPECT_EQ(out.samples[0].pressure.given, 1);
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_EQ(out.faults[0].where, "/data/p/2");
}

TEST(Mapped, a_message_of_another_kind_is_said_once) {
  // A mapping that fits nothing would look well.
  EXPECT_EQ(decode(imperial(), R"({"other":1})").faults.at(0).where, "/data");
  const auto out = decode(imperial(), R"({"data":{"ts":1772344800,"x":1}})");
  EXPECT_THAT(out.samples, IsEmpty());
  ASSERT_EQ(out.faults.size(), 1U);
  EXPECT_THAT(out.faults[0].remedy, HasSubstr("\"east works\""));
  EXPECT_EQ(decode(imperial(), "{").faults.at(0).code, FaultCode::not_json);
}

TEST(Mapped, settings_and_presence_are_mapped_too) {
  // The target would be unknown, and a lost link would look like a silent station.
  Mapping mapping;
  mapping.topic = "{site}/{station}/set";
  mapping.kind = TopicKind::settings;
  mapping.settings.cycle = MappedField{"/0", "min"};
  mapping.settings.target = MappedField{"/1", "kPa"};
  mapping.settings.residual = MappedField{"/2", "kPa"};
  mapping.settings.lines = MappedField{"/3", ""};
  EXPECT_EQ(decode(mapping, "[48,18000,2000,2]").settings, (ControllerSettings{2880, {}, 180, 20, 2}));
  EXPECT_EQ(decode(mapping, "[48,18000,18000,2]").settings, (ControllerSettings{2880, {}, 180, {}, 2}));
  EXPECT_FALSE(decode(mapping, "[0]").settings);

  mapping.kind = TopicKind::presence;
  mapping.online = MappedSwitch{"", {"up", "1"}, {"down", "0"}};
  EXPECT_EQ(decode(mapping, "\"down\"").presence, (PresenceChange{received, false}));
  EXPECT_EQ(decode(mapping, "1.0").presence, (PresenceChange{received, true}));
  EXPECT_EQ(decode(mapping, "null").faults.at(0).code, FaultCode::missing_field);
}

TEST(Mapped, nan_and_huge_numbers_cost_only_their_field) {
  // A controller that prints nan would be blind altogether.
  const auto out = decode(imperial(), R"({"data":{"ts":1772344800,"p":[nan,1e999],"valve":0}})");
  EXPECT_EQ(out.samples.size(), 1U);
  EXPECT_EQ(out.faults.size(), 2U);
}

struct Mistake {
  const char* where;
  void (*make)(Mapping&);
};

TEST(Mapped, a_mapping_that_cannot_work_is_refused_with_its_place) {
  // A mistake in configuration would show only as missing data.
  const std::vector<Mistake> mistakes{
      {"/1/topic", [](Mapping& m) { m.topic = "plant/{site}/#/{station}"; }},
      {"/1/topic", [](Mapping& m) { m.topic = "plant/{site}/{station}/{line}"; }},
      {"/1/topic", [](Mapping& m) { m.topic = "plant/{site}/ps-{station}", m.station = "ps"; }},
      {"/1/site", [](Mapping& m) { m.topic = "plant/{station}"; }},
      {"/1/site", [](Mapping& m) { m.site = "east"; }},
      {"/1/station", [](Mapping& m) { m.topic = "plant/{site}", m.station = "p s"; }},
      {"/1/samples", [](Mapping& m) { m.samples = "data"; }},
      {"/1/sample", [](Mapping& m) { m.sample = {}; }},
      {"/1/sample/time/unit", [](Mapping& m) { m.sample.time->unit = "min"; }},
      {"/1/sample/temp/at", [](Mapping& m) { m.sample.temp->at = "/a~2"; }},
      {"/1/sample/temp/unit", [](Mapping& m) { m.sample.temp->unit = "bar"; }},
      {"/1/sample/temp/scale", [](Mapping& m) { m.sample.temp->scale = 0; }},
      {"/1/sample/temp/offset", [](Mapping& m) { m.sample.temp->offset = std::numeric_limits<double>::infinity(); }},
      {"/1/sample/seq/unit", [](Mapping& m) { m.sample.seq->unit = "s"; }},
      {"/1/sample/pump/no", [](Mapping& m) { m.sample.pump->no = {"RUN"}; }},
      {"/1/sample/pump", [](Mapping& m) { m.sample.pump->yes.clear(); }},
      {"/1/sample/line_pressures", [](Mapping& m) { m.sample.line_pressures.resize(9); }},
      {"/1/sample/line_pressures", [](Mapping& m) { m.sample.pressures = MappedField{"/p", "bar"}; }},
      {"/1/sample/line_pressures/1/unit", [](Mapping& m) { m.sample.line_pressures[1].unit = "C"; }},
      {"/1/settings", [](Mapping& m) { m.kind = TopicKind::settings; }},
      {"/1/online", [](Mapping& m) { m.kind = TopicKind::presence; }},
      {"/1/kind", [](Mapping& m) { m.kind = TopicKind::service; }},
  };
  for (const Mistake& mistake : mistakes) {
    Mapping bad = imperial();
    mistake.make(bad);
    const auto made = MappedDecoder::make({imperial(), bad});
    ASSERT_FALSE(made) << mistake.where;
    ASSERT_EQ(made.error().size(), 1U) << mistake.where << " " << made.error()[1].where;
    EXPECT_EQ(made.error()[0].where, mistake.where);
    EXPECT_FALSE(made.error()[0].remedy.empty());
  }
}

}  // namespace
}  // namespace driftline
