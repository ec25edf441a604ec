#include "gateway/simulate/plant.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "gateway/simulate/invent.h"
#include "gateway/simulate/plan_text.h"

namespace driftline::simulate {
namespace {

constexpr Time start = time_from_ms(1767571200000);  // 2026-01-05

PlantPlan small(Scene scene, std::uint64_t seed = 3, double days = 4) {
  return invent_plant({.scene = scene, .seed = seed, .from = start, .days = days, .stations = 3});
}

std::vector<Message> all_of(const PlantPlan& plan, double stretch_s, std::vector<StationTruth>* truth = nullptr) {
  Plant plant(plan);
  std::vector<Message> out;
  while (plant.next(stretch_s, out)) {}
  if (truth) *truth = plant.take_truth();
  return out;
}

bool same(const std::vector<Message>& a, const std::vector<Message>& b) {
  return std::ranges::equal(a, b, [](const Message& x, const Message& y) { return x.received == y.received && x.topic == y.topic && x.payload == y.payload; });
}

TEST(Plant, equal_plans_give_equal_bytes_in_any_stretches) {
  // A seed that does not reproduce cannot be debugged; a broker and a recording would tell different stories.
  const PlantPlan plan = small(Scene::season);
  EXPECT_TRUE(same(all_of(plan, 86400), all_of(plan, 613)));
}

TEST(Plant, another_seed_is_another_plant) {
  // Two hundred seasons of one plant would measure nothing.
  EXPECT_FALSE(same(all_of(small(Scene::season, 3), 86400), all_of(small(Scene::season, 4), 86400)));
}

TEST(Plant, messages_come_in_order_of_arrival) {
  // Recordings promise it, and the reader refuses to step back.
  const auto messages = all_of(small(Scene::season), 7200);
  EXPECT_TRUE(std::ranges::is_sorted(messages, {}, &Message::received));
}

TEST(Plant, sound_stations_reach_their_target_every_time) {
  // Faults drawn over stations that fail by themselves would have no onset.
  PlantPlan plan = small(Scene::demo, 5, 10);
  for (StationPlan& s : plan.stations) s.faults.clear();
  std::vector<StationTruth> truth;
  (void)all_of(plan, 86400, &truth);
  for (const StationTruth& s : truth) {
    EXPECT_GT(s.turns.size(), 30U);
    for (const TurnTruth& t : s.turns) EXPECT_STREQ(t.outcome, "reached") << s.plan.name;
  }
}

TEST(Plant, a_gradual_fault_is_seen_before_the_station_fails_by_it) {
  // An early warning has nothing to win where the fault shows only with the failure.
  PlantPlan plan = small(Scene::demo, 6, 20);
  for (StationPlan& s : plan.stations) s.faults = {{.kind = Cause::slow_leak, .form = Form::linear, .line = 1, .onset_day = 4, .life_days = 10}};
  std::vector<StationTruth> truth;
  (void)all_of(plan, 86400, &truth);
  for (const StationTruth& s : truth) {
    ASSERT_EQ(s.faults.size(), 1U);
    ASSERT_TRUE(s.faults[0].visible_ms && s.faults[0].own_failure_ms) << s.plan.name;
    EXPECT_LT(*s.faults[0].visible_ms, *s.faults[0].own_failure_ms);
    EXPECT_NEAR(static_cast<double>(*s.faults[0].own_failure_ms - s.faults[0].onset_ms) / 86400000.0, 10, 3) << s.plan.name;
  }
}

TEST(PlanText, what_was_written_is_read_back) {
  // A plan that is edited by hand must be the plan that is simulated.
  const PlantPlan plan = small(Scene::season);
  const auto back = read_plan(plan_text(plan));
  ASSERT_TRUE(back) << back.error();
  EXPECT_EQ(*back, plan);
}

TEST(PlanText, a_plan_without_its_site_is_refused_with_the_station_named) {
  // Otherwise an invariant breaks far from the typing error.
  PlantPlan plan = small(Scene::demo);
  plan.stations[1].site = "nowhere";
  const auto back = read_plan(plan_text(plan));
  ASSERT_FALSE(back);
  EXPECT_NE(back.error().find(plan.stations[1].name), std::string::npos);
}

}  // namespace
}  // namespace driftline::simulate
