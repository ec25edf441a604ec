#include "gateway/broker/topics.h"

#include <gtest/gtest.h>

namespace driftline::broker {
namespace {

const StationId station{"northyard", "ps-01"};

TEST(Topics, each_warning_has_a_topic_of_its_own) {
  // Two warnings on one topic would overwrite each other's retained state.
  EXPECT_EQ(warning_topic("driftline", {station, 2, Condition::slow_vent}),
            "driftline/warnings/northyard/ps-01/line-2/slow-vent");
  EXPECT_EQ(warning_topic("plant/driftline", {station, std::nullopt, Condition::station_silent}),
            "plant/driftline/warnings/northyard/ps-01/station/station-silent");
}

TEST(Topics, the_streams_are_told_apart) {
  // A subscriber to half-cycles would get warnings.
  EXPECT_EQ(changes_topic("driftline", station), "driftline/changes/northyard/ps-01");
  EXPECT_EQ(half_cycles_topic("driftline", station), "driftline/half-cycles/northyard/ps-01");
  EXPECT_EQ(reservoir_topic("driftline", station), "driftline/reservoirs/northyard/ps-01");
  EXPECT_EQ(life_changes_topic("driftline", station), "driftline/life-changes/northyard/ps-01");
  EXPECT_EQ(life_topic("driftline", {station, 2, Condition::slow_vent}), "driftline/lives/northyard/ps-01/line-2/slow-vent");
  EXPECT_EQ(presence_topic("driftline", "gate-1"), "driftline/gateway/gate-1/presence");
  EXPECT_EQ(acts_topic("driftline", "gate-1"), "driftline/gateway/gate-1/acts");
  EXPECT_EQ(answers_topic("driftline", "gate-1"), "driftline/gateway/gate-1/answers");
}

TEST(Topics, a_root_that_mqtt_would_refuse_is_named_before_it_is_used) {
  // The broker would close the connection on each publication, for ever.
  for (const char* good : {"grease", "plant/2/grease", "Schmierung-Süd"})
    EXPECT_EQ(problem_of_root(good), std::nullopt) << good;
  for (const char* bad : {"", "/grease", "grease/", "a//b", "grease/+", "#", "$SYS", "a\nb"})
    EXPECT_TRUE(problem_of_root(bad)) << bad;
}

TEST(Topics, output_under_the_telemetry_root_is_seen) {
  // The gateway would read its own warnings as telemetry, fault them, and never end.
  EXPECT_TRUE(lies_under("grease", "grease"));
  EXPECT_TRUE(lies_under("grease/out", "grease"));
  EXPECT_FALSE(lies_under("greaseworks", "grease"));
  EXPECT_FALSE(lies_under("driftline", "grease"));
  EXPECT_FALSE(lies_under("grease", "grease/in"));
}

TEST(Topics, a_pattern_that_fits_what_we_publish_is_seen) {
  // The same, by way of a mapping: what we say of a station would come back as a station.
  const std::string out = "plant/driftline";
  for (const auto& topic : {presence_topic(out, "gate-1"), changes_topic(out, station), life_changes_topic(out, station),
                            life_topic(out, {station, 2, Condition::slow_vent}), half_cycles_topic(out, station),
                            reservoir_topic(out, station), warning_topic(out, {station, 2, Condition::slow_vent}),
                            forecast_topic(out, {station, std::nullopt, Condition::reservoir_low})})
    EXPECT_TRUE(may_be_ours(topic, out)) << topic;
  EXPECT_TRUE(may_be_ours("{site}/+/+/{station}/values", out));
  EXPECT_FALSE(may_be_ours("{site}/{station}/values", out));
  EXPECT_FALSE(may_be_ours("works/+/+/{station}/values", out));
  EXPECT_FALSE(may_be_ours("{site}/+/state/{station}/values", out));
}

}  // namespace
}  // namespace driftline::broker
