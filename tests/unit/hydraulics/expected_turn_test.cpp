#include "rules/hydraulics/expected_turn.h"

#include <gtest/gtest.h>

#include <cmath>

#include "rules/hydraulics/turn_prior.h"

namespace driftline::hydraulics {
namespace {

StationDesign design() {
  StationDesign d;
  d.settings.target_bar = 180;
  d.settings.pump_limit_s = 200;
  d.settings.residual_bar = 25;
  d.displacement_cm3_min = 60;
  d.lines = {{.length_m = 15, .bore_mm = 12, .devices = 20, .charges_cm3 = 50}};
  return d;
}

TEST(ExpectedTurn, plateau_is_charges_over_delivery) {
  // The one figure an engineer checks by hand: 50 cm3 at 1 cm3/s.
  Assumptions as_stated;
  as_stated.delivered_share = 1;
  const Expectation out = expected_turns(design(), {20}, as_stated);
  ASSERT_EQ(out.turns.size(), 1U);
  EXPECT_DOUBLE_EQ(out.turns[0].plateau_s, 50);
  EXPECT_DOUBLE_EQ(out.turns[0].delivery_cm3_min, 60);
  ASSERT_TRUE(out.turns[0].time_to_pressure_s);
  EXPECT_GT(*out.turns[0].time_to_pressure_s, 50);
  EXPECT_TRUE(out.turns[0].works());
}

TEST(ExpectedTurn, cold_takes_length_away) {
  // A design that works in summer and not in winter must be told before it is built.
  const Expectation out = expected_turns(design(), {30, 0, -25}, {});
  ASSERT_EQ(out.turns.size(), 3U);
  EXPECT_GT(out.turns[0].longest_line_m, out.turns[1].longest_line_m);
  EXPECT_GT(out.turns[1].longest_line_m, out.turns[2].longest_line_m);
  EXPECT_LT(out.turns[0].residual_floor_bar, out.turns[2].residual_floor_bar);
}

TEST(ExpectedTurn, cold_takes_time) {
  // A baseline from the design that fell with cold would hide a leak in winter.
  const Expectation out = expected_turns(design(), {20, 0}, {});
  EXPECT_GT(*out.turns[1].time_to_pressure_s, *out.turns[0].time_to_pressure_s);
}

TEST(ExpectedTurn, a_pump_fills_worse_with_cold_grease) {
  // A pump believed to give in January what it gives in July looks worn each winter.
  const Expectation out = expected_turns(design(), {20, -20}, {});
  EXPECT_LT(out.turns[1].delivery_cm3_min, 0.9 * out.turns[0].delivery_cm3_min);
  EXPECT_GT(out.turns[1].plateau_s, out.turns[0].plateau_s);
  Assumptions none;
  none.cold_loss = 0;
  const Expectation same = expected_turns(design(), {20, -20}, none);
  EXPECT_DOUBLE_EQ(same.turns[1].delivery_cm3_min, same.turns[0].delivery_cm3_min);
}

TEST(ExpectedTurn, says_with_which_grease_a_line_would_vent) {
  // "Does not work" without what would work helps nobody at the drawing board.
  StationDesign d = design();
  d.lines[0].length_m = 60;
  const ExpectedTurn turn = expected_turns(d, {-10}, {}).turns[0];
  ASSERT_TRUE(turn.yield_needed_20c_pa);
  Assumptions softer;
  softer.grease.yield_20c_pa = 0.99 * *turn.yield_needed_20c_pa;
  EXPECT_TRUE(expected_turns(d, {-10}, softer).turns[0].vents);
  softer.grease.yield_20c_pa = 1.01 * *turn.yield_needed_20c_pa;
  EXPECT_FALSE(expected_turns(d, {-10}, softer).turns[0].vents);
}

TEST(TurnPrior, is_the_expected_turn_at_ten_degrees_and_its_change) {
  // A new station would be watched against another line, or not from its first hour.
  StationDesign d = design();
  d.lines.push_back({.length_m = 25, .bore_mm = 10, .devices = 30, .charges_cm3 = 80});
  const auto prior = time_to_pressure_prior(d, 2);
  ASSERT_TRUE(prior);
  const Expectation out = expected_turns(d, {0, 10, 20}, {});
  EXPECT_DOUBLE_EQ(std::exp(prior->level), *out.turns[4].time_to_pressure_s);
  EXPECT_NEAR(prior->slope, std::log(*out.turns[5].time_to_pressure_s / *out.turns[3].time_to_pressure_s) / 2, 1e-12);
  EXPECT_LT(prior->slope, 0);
}

TEST(TurnPrior, is_vaguer_where_the_design_was_assumed_and_none_where_it_is_missing) {
  // A guess that weighs like knowledge teaches the baseline a fault.
  StationDesign d = design();
  const auto known = time_to_pressure_prior(d, 1);
  d.lines[0].bore_mm.reset();
  const auto assumed = time_to_pressure_prior(d, 1);
  ASSERT_TRUE(known && assumed);
  EXPECT_GT(assumed->level_deviation, known->level_deviation);
  d.lines[0].charges_cm3.reset();
  EXPECT_FALSE(time_to_pressure_prior(d, 1));
  EXPECT_FALSE(time_to_pressure_prior(design(), 2));
}

TEST(ExpectedTurn, longest_line_is_where_it_stops_working) {
  // The length told must be the last that works, not one beside it.
  StationDesign d = design();
  const double longest = expected_turns(d, {-10}, {}).turns[0].longest_line_m;
  d.lines[0].length_m = longest;
  EXPECT_TRUE(expected_turns(d, {-10}, {}).turns[0].works());
  d.lines[0].length_m = longest + 0.2;
  EXPECT_FALSE(expected_turns(d, {-10}, {}).turns[0].works());
}

TEST(ExpectedTurn, says_what_is_missing_and_what_was_assumed) {
  // A table from guesses that looks like one from facts would be believed.
  StationDesign d = design();
  d.displacement_cm3_min.reset();
  d.lines[0].bore_mm.reset();
  const Expectation out = expected_turns(d, {20}, {});
  EXPECT_TRUE(out.turns.empty());
  EXPECT_EQ(out.missing, std::vector<std::string>{"displacement_cm3_min"});
  EXPECT_EQ(out.assumed, std::vector<std::string>{"lines/1/bore_mm"});
}

TEST(ExpectedTurn, a_line_too_long_for_its_vent_has_no_vent_time) {
  // A vent time beside a floor above the limit would contradict itself.
  StationDesign d = design();
  d.lines[0].length_m = 120;
  const ExpectedTurn turn = expected_turns(d, {0}, {}).turns[0];
  EXPECT_FALSE(turn.vents);
  EXPECT_FALSE(turn.vent_s);
  EXPECT_FALSE(turn.works());
}

}  // namespace
}  // namespace driftline::hydraulics
