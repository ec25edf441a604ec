#include <gtest/gtest.h>

#include "gateway/telemetry/decode.h"

namespace driftline {
namespace {

TEST(Topics, a_station_s_topic_names_site_station_and_kind) {
  // Samples would be credited to the wrong station.
  const auto outcome = read_topic("grease", "grease/northyard/ps-01/settings");
  ASSERT_TRUE(outcome.topic);
  EXPECT_EQ(outcome.topic->station, (StationId{"northyard", "ps-01"}));
  EXPECT_EQ(outcome.topic->kind, TopicKind::settings);
  EXPECT_EQ(outcome.station, outcome.topic->station);
  EXPECT_FALSE(outcome.fault);
}

TEST(Topics, each_kind_is_known) {
  // A whole kind of message would be refused.
  EXPECT_EQ(read_topic("g", "g/s/p/telemetry").topic->kind, TopicKind::telemetry);
  EXPECT_EQ(read_topic("g", "g/s/p/settings").topic->kind, TopicKind::settings);
  EXPECT_EQ(read_topic("g", "g/s/p/presence").topic->kind, TopicKind::presence);
  EXPECT_EQ(read_topic("g", "g/s/p/service").topic->kind, TopicKind::service);
}

TEST(Topics, a_root_may_hold_levels) {
  // A plant whose broker has its own tree could not be watched.
  const auto outcome = read_topic("plant/lube/grease", "plant/lube/grease/yard/ps.2/telemetry");
  ASSERT_TRUE(outcome.topic);
  EXPECT_EQ(outcome.topic->station, (StationId{"yard", "ps.2"}));
}

TEST(Topics, an_unknown_kind_still_says_which_station) {
  // The fault could not be counted for its station.
  const auto outcome = read_topic("grease", "grease/yard/ps-1/inventory");
  EXPECT_FALSE(outcome.topic);
  ASSERT_TRUE(outcome.fault);
  EXPECT_EQ(outcome.fault->code, FaultCode::unknown_kind);
  EXPECT_EQ(outcome.fault->why, "\"inventory\" is no kind of message");
  EXPECT_EQ(outcome.station, (StationId{"yard", "ps-1"}));
}

TEST(Topics, what_is_not_a_station_s_topic_is_refused) {
  // A stray topic would make a station of itself.
  const std::string long_id(65, 'a');
  for (const std::string& topic :
       {std::string{}, std::string("grease"), std::string("grease/"), std::string("grease/yard"), std::string("grease/yard/ps-1"),
        std::string("grease/yard/ps-1/telemetry/x"), std::string("grease/yard/ps-1/telemetry/"), std::string("/grease/yard/ps-1/telemetry"),
        std::string("greased/yard/ps-1/telemetry"), std::string("Grease/yard/ps-1/telemetry"), std::string("grease//ps-1/telemetry"),
        std::string("grease/yard//telemetry"), std::string("grease/ya rd/ps-1/telemetry"), std::string("grease/y\xC3\xA4rd/ps-1/telemetry"),
        std::string("grease/yard/ps+1/telemetry"), "grease/" + long_id + "/ps-1/telemetry", std::string("grease/yard/ps\0/telemetry", 24)}) {
    const auto outcome = read_topic("grease", topic);
    EXPECT_FALSE(outcome.topic) << topic;
    ASSERT_TRUE(outcome.fault) << topic;
    EXPECT_EQ(outcome.fault->code, FaultCode::bad_topic) << topic;
    EXPECT_FALSE(outcome.fault->remedy.empty());
  }
  EXPECT_TRUE(read_topic("grease", "grease/" + std::string(64, 'Z') + "/0/telemetry").topic);
}

TEST(FaultNames, are_words_of_their_own) {
  // Two faults would share a metric tag.
  std::vector<std::string_view> names;
  for (std::size_t i = 0; i < fault_code_count; ++i) names.push_back(name_of(static_cast<FaultCode>(i)));
  EXPECT_EQ(names.front(), "bad-topic");
  EXPECT_EQ(names.back(), "birth-missing");
  std::sort(names.begin(), names.end());
  EXPECT_EQ(std::adjacent_find(names.begin(), names.end()), names.end());
}

}  // namespace
}  // namespace driftline
