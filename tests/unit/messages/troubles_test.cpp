// When people hear that the gateway itself is in trouble.
#include "gateway/messages/troubles.h"

#include <gtest/gtest.h>

namespace driftline::messages {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

class OwnTroubles : public ::testing::Test {
 protected:
  // Looks each five seconds for as long, with the trouble there or not.
  std::vector<GatewaySays> pass(seconds time, bool there, Trouble trouble = Trouble::broker) {
    std::vector<GatewaySays> all;
    for (seconds done{0}; done < time; done += seconds{5}) {
      TroublesNow seen;
      if (there) seen.of(trouble) = "broker 127.0.0.1:1883 cannot be reached";
      for (GatewaySays& said : troubles_.look(seen, now_)) all.push_back(std::move(said));
      now_ += seconds{5};
    }
    return all;
  }
  Troubles troubles_;
  Time now_ = time_from_ms(1'772'344'800'000);
};

// Nobody would know that nothing is watched; "no message" would mean nothing.
TEST_F(OwnTroubles, are_told_once_and_once_more_when_they_are_over) {
  EXPECT_TRUE(pass(minutes{60}, false).empty());
  const auto told = pass(minutes{60}, true);
  ASSERT_EQ(told.size(), 1U);
  EXPECT_EQ(told[0].what, "broker|2026-03-01T07:00:00.000Z");
  EXPECT_NE(told[0].body.find("127.0.0.1:1883"), std::string::npos);
  EXPECT_EQ(troubles_.standing(), std::vector{Trouble::broker});
  const auto well = pass(minutes{60}, false);
  ASSERT_EQ(well.size(), 1U);
  EXPECT_EQ(well[0].what, "broker-well|2026-03-01T07:00:00.000Z");
  EXPECT_NE(well[0].body.find("to 2026-03-01T08:00:00.000Z"), std::string::npos) << well[0].body;
  EXPECT_TRUE(troubles_.standing().empty());
}

TEST_F(OwnTroubles, that_pass_by_themselves_wake_nobody) {  // each update of the broker would ring at night
  EXPECT_TRUE(pass(seconds{115}, true).empty());
  EXPECT_TRUE(pass(minutes{60}, false).empty());
}

// A connection that flaps all night would be a message a minute, or, being never away for long, none at all.
TEST_F(OwnTroubles, that_flap_are_told_once) {
  std::vector<GatewaySays> all;
  for (int i = 0; i < 60; ++i) {
    for (GatewaySays& said : pass(minutes{1}, true)) all.push_back(std::move(said));
    for (GatewaySays& said : pass(minutes{4}, false)) all.push_back(std::move(said));
  }
  ASSERT_EQ(all.size(), 1U);
  EXPECT_NE(all[0].body.find("comes and goes: 2 times"), std::string::npos) << all[0].body;
  EXPECT_EQ(pass(minutes{20}, false).size(), 1U);
}

TEST_F(OwnTroubles, each_stand_for_themselves_and_fit_a_subject) {  // one would hide the other
  for (std::size_t i = 0; i < trouble_count; ++i) {
    const auto told = pass(minutes{30}, true, static_cast<Trouble>(i));
    ASSERT_FALSE(told.empty()) << i;
    for (const GatewaySays& said : told) EXPECT_LE(said.subject.size(), 60U);
  }
  EXPECT_LE(ended(now_, "SIGTERM").subject.size(), 60U);
}

}  // namespace
}  // namespace driftline::messages
