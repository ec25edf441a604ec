#include "gateway/simulate/plant.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "gateway/simulate/invent.h"
#include "gateway/simulate/machine.h"
#include "gateway/simulate/plan_text.h"
#include "gateway/simulate/truth.h"
#include "rules/records/names.h"

namespace driftline::simulate {
namespace {

constexpr Time start = time_from_ms(1767571200000);  // 2026-01-05

PlantPlan small(Scene scene, std::uint64_t seed = 3, double days = 4) {
  return invent_plant({.scene = scene, .seed = seed, .from = start, .days = days, .stations = 3});
}

std::vector<Message> all_of(const PlantPlan& plan, double stretch_s,
                            std::vector<StationTruth>* truth = nullptr) {
  Plant plant(plan);
  std::vector<Message> out;
  while (plant.next(stretch_s, out)) {
  }
  if (truth) *truth = plant.take_truth();
  return out;
}

bool same(const std::vector<Message>& a, const std::vector<Message>& b) {
  return std::ranges::equal(a, b, [](const Message& x, const Message& y) {
    return x.received == y.received && x.topic == y.topic && x.payload == y.payload;
  });
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
  for (StationPlan& s : plan.stations)
    s.faults = {{.kind = Cause::slow_leak, .form = Form::linear, .line = 1, .onset_day = 4, .life_days = 10}};
  std::vector<StationTruth> truth;
  (void)all_of(plan, 86400, &truth);
  for (const StationTruth& s : truth) {
    ASSERT_EQ(s.faults.size(), 1U);
    ASSERT_TRUE(s.faults[0].visible_ms && s.faults[0].own_failure_ms) << s.plan.name;
    EXPECT_LT(*s.faults[0].visible_ms, *s.faults[0].own_failure_ms);
    EXPECT_NEAR(static_cast<double>(*s.faults[0].own_failure_ms - s.faults[0].onset_ms) / 86400000.0, 10, 3)
        << s.plan.name;
  }
}

void send_little(PlantPlan& plan) {
  for (StationPlan& s : plan.stations) s.sender.fast_s = 20, s.sender.rest_s = 1800;
}

// One station under a cold spell; its pump limit as a share of what the spell's slowest turn takes.
StationTruth through_the_cold(double reserve, double depth_c = 18) {
  PlantPlan plan =
      invent_plant({.scene = Scene::healthy, .seed = 11, .from = start, .days = 12, .stations = 1});
  send_little(plan);
  plan.sites[0].climate = {.mean_c = 8,
                           .trend_c_day = 0,
                           .day_swing_c = 0,
                           .front_c = 0,
                           .front_days = 2,
                           .cold_spells = {{5, 4, depth_c}}};
  StationPlan& s = plan.stations[0];
  s.suction_loss = 0.4;
  std::vector<TurnPoint> curve;
  double slowest = 0;
  for (int i = 0; i < static_cast<int>(s.lines.size()); ++i)
    slowest =
        std::max(slowest, run_turn(Machine(s).turn(i, 10 - depth_c, Wear{}, 0, 0), curve).to_pressure_s);
  s.pump_limit_s = slowest * reserve;
  std::vector<StationTruth> truth;
  (void)all_of(plan, 86400, &truth);
  return truth.at(0);
}

TEST(Truth, a_cold_spell_within_a_station_s_reserve_is_no_fault_of_it) {
  // Every frosty week would be a fault that nobody can or should warn of.
  EXPECT_TRUE(through_the_cold(1.4).faults.empty());
  EXPECT_TRUE(through_the_cold(1.15).faults.empty());
}

TEST(Truth, a_cold_spell_that_takes_the_reserve_is_a_fault_and_has_its_failure) {
  // The winter morning on which nothing is lubricated would be missing from the table.
  const StationTruth near = through_the_cold(1.02);
  ASSERT_EQ(near.faults.size(), 1U);
  EXPECT_EQ(near.faults[0].plan.kind, Cause::stiff_grease);
  EXPECT_FALSE(near.faults[0].own_failure_ms);
  EXPECT_TRUE(near.faults[0].visible_ms);
  const StationTruth over = through_the_cold(0.97);
  ASSERT_EQ(over.faults.size(), 1U);
  ASSERT_TRUE(over.faults[0].own_failure_ms && over.faults[0].visible_ms);
  EXPECT_LT(*over.faults[0].visible_ms, *over.faults[0].own_failure_ms);
}

TEST(Truth, slow_turns_near_the_pump_limit_explain_a_warning) {
  // A warning at 90 % of the limit would count as false though the gateway is asked for it.
  const auto near = [](const StationTruth& t) {
    return std::ranges::any_of(t.explained, [](const Explained& e) { return e.why.starts_with("close to"); });
  };
  EXPECT_TRUE(near(through_the_cold(1.1)));
  EXPECT_FALSE(near(through_the_cold(1.4)));
}

TEST(Truth, a_fault_repaired_in_time_has_the_failure_that_would_have_come) {
  // Lead and forecasts could be measured on unrepaired faults only.
  PlantPlan plan = small(Scene::demo, 6, 20);
  send_little(plan);
  const auto with = [&](Cause kind, double repaired_day) {
    for (StationPlan& s : plan.stations)
      s.faults = {{.kind = kind,
                   .form = Form::linear,
                   .line = 1,
                   .onset_day = 4,
                   .life_days = 10,
                   .repaired_day = repaired_day}};
    std::vector<StationTruth> truth;
    (void)all_of(plan, 86400, &truth);
    return truth;
  };
  for (const Cause kind : {Cause::slow_leak, Cause::vent_restricted}) {
    const auto repaired = with(kind, 9);
    const auto left = with(kind, 0);
    for (std::size_t i = 0; i < left.size(); ++i) {
      ASSERT_TRUE(repaired[i].faults.at(0).own_failure_ms && left[i].faults.at(0).own_failure_ms)
          << repaired[i].plan.name;
      EXPECT_NEAR(
          static_cast<double>(*repaired[i].faults[0].own_failure_ms - *left[i].faults[0].own_failure_ms) /
              86400000.0,
          0, 2)
          << repaired[i].plan.name;
    }
  }
}

class EachCause : public testing::TestWithParam<Cause> {};

TEST_P(EachCause, can_be_injected_and_stands_in_the_truth) {
  // A cause that cannot be simulated is one that no rule was ever tried on.
  const Cause kind = GetParam();
  if (kind == Cause::stiff_grease) {
    const StationTruth truth = through_the_cold(0.97);
    EXPECT_TRUE(std::ranges::any_of(truth.faults, [](const FaultTruth& f) {
      return f.plan.kind == Cause::stiff_grease && f.visible_ms;
    }));
    return;
  }
  PlantPlan plan =
      invent_plant({.scene = Scene::healthy, .seed = 21, .from = start, .days = 12, .stations = 1});
  FaultPlan fault = draw_fault(kind, Form::linear, plan.stations[0], plan.days);
  fault.onset_day = 4;
  fault.life_days = 5;
  fault.repaired_day = 0;
  plan.stations[0].faults = {fault};
  std::vector<StationTruth> truth;
  (void)all_of(plan, 86400, &truth);
  const auto found =
      std::ranges::find_if(truth.at(0).faults, [&](const FaultTruth& f) { return f.plan.kind == kind; });
  ASSERT_NE(found, truth[0].faults.end());
  EXPECT_TRUE(found->visible_ms) << "nobody could ever see it";
  EXPECT_GE(*found->visible_ms, found->onset_ms);
  EXPECT_FALSE(found->lines.empty());
  EXPECT_NE(truth_text(plan, truth, "x", 1).find("\"kind\":\"" + std::string(name_of(kind)) + "\""),
            std::string::npos);
}

std::vector<Cause> all_causes() {
  std::vector<Cause> all;
  for (std::size_t i = 0; i < cause_count; ++i) all.push_back(static_cast<Cause>(i));
  return all;
}

INSTANTIATE_TEST_SUITE_P(Causes, EachCause, testing::ValuesIn(all_causes()), [](const auto& one) {
  std::string name(name_of(one.param));
  std::ranges::replace(name, '-', '_');
  return name;
});

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
