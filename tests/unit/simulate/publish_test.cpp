#include "gateway/simulate/publish.h"

#include <gtest/gtest.h>

#include "gateway/simulate/invent.h"

namespace driftline::simulate {
namespace {

const Time from = time_from_ms(1'772'344'800'000);

PlantPlan plan_of(double days) { return invent_plant({.scene = Scene::healthy, .seed = 3, .from = from, .days = days, .stations = 2}); }

std::vector<Message> all_of(Playback& playback, double step_s, Time end) {
  std::vector<Message> all;
  for (double elapsed_s = 0;; elapsed_s += step_s) {
    auto due = playback.due(elapsed_s, end);
    if (!due) return all;
    all.insert(all.end(), std::make_move_iterator(due->begin()), std::make_move_iterator(due->end()));
  }
}

// A demo would lose or double what lies between the days behind it and those that are played.
TEST(Playback, a_rush_gives_the_same_messages_in_the_same_order) {
  const auto plan = plan_of(2);
  const Time end = from + std::chrono::hours{72};
  Playback even(plan, 3600);
  Playback rushed(plan, 60, 1.5);
  const auto one = all_of(even, 0.5, end);
  const auto other = all_of(rushed, 30, end);
  ASSERT_EQ(one.size(), other.size());
  ASSERT_GT(one.size(), 100U);
  for (std::size_t i = 0; i < one.size(); ++i) ASSERT_TRUE(one[i].received == other[i].received && one[i].topic == other[i].topic && one[i].payload == other[i].payload) << i;
}

// The days behind it would take as long as those that are played.
TEST(Playback, a_rush_waits_for_no_clock_and_then_goes_at_its_pace) {
  Playback playback(plan_of(2), 60, 1);
  for (int i = 0; i < 12; ++i) {
    EXPECT_TRUE(playback.rushing());
    (void)playback.due(5, from + std::chrono::hours{48});
  }
  EXPECT_FALSE(playback.rushing());
  EXPECT_EQ(playback.simulated(), from + std::chrono::hours{24});
  (void)playback.due(15, from + std::chrono::hours{48});
  EXPECT_EQ(playback.simulated(), from + std::chrono::hours{24} + std::chrono::minutes{10});
}

}  // namespace
}  // namespace driftline::simulate
