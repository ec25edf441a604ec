#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "gateway/app/trial/candidates.h"
#include "gateway/app/trial/price.h"
#include "gateway/app/trial/trial.h"

namespace driftline::trial {
namespace {

constexpr double turns_a_year = 10'000;
constexpr double generous = 40;  // false warnings a year: enough to count

Thresholds in_force() {
  Thresholds t;
  t.false_warnings_per_year = generous;
  return t;
}

// One line whose time to pressure scatters as an independent normal figure.
StationNoise normal_noise(double deviation, int turns, unsigned seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal(0, deviation);
  StationNoise noise;
  NoiseSeries& series = noise.lines[1].figures[static_cast<std::size_t>(Figure::time)];
  series.design = {.smallest_shift = rules::usual_shift(in_force(), Condition::slow_to_pressure, rules::smallest_time_shift),
                   .fast_shift = 0.1,
                   .false_signals_a_year = rules::budget_of(in_force(), Condition::slow_to_pressure) / 2,
                   .turns_a_year = turns_a_year};
  series.limit = std::log(400.0);
  for (int i = 0; i < turns; ++i) {
    const auto error = static_cast<float>(normal(random));
    series.turns.push_back({1'772'323'200'000 + i * 3'155'760LL, error, error, 0, static_cast<float>(deviation), static_cast<float>(deviation),
                            static_cast<float>(std::log(200.0))});
  }
  return noise;
}

Thresholds with_shift(double pct) {
  Thresholds t = in_force();
  t.conditions[static_cast<std::size_t>(Condition::slow_to_pressure)].smallest_shift = pct;
  return t;
}

// The price is what an engineer decides on: drawn from noise whose run length is known, it must be that run length's.
TEST(TrialPrice, of_independent_normal_noise_is_what_the_run_length_says) {
  constexpr int seeds = 8;
  for (const double pct : {0.6, 1.0, 1.4}) {
    Price mean;
    for (unsigned seed = 1; seed <= seeds; ++seed) {
      const StationNoise noise = normal_noise(0.02, 20'000, seed);  // two years, of which hardly an excursion reached the limit
      const auto price = Pricing(noise, in_force(), {}).of(Condition::slow_to_pressure, with_shift(pct));
      ASSERT_TRUE(price.has_value());
      mean.false_a_year += price->false_a_year / seeds;
      mean.by_run_length += price->by_run_length / seeds;
    }
    EXPECT_GT(mean.by_run_length, 0.1) << "too quiet a noise compares nothing";
    EXPECT_GT(mean.false_a_year, mean.by_run_length / 2) << pct;
    EXPECT_LT(mean.false_a_year, mean.by_run_length * 2) << pct;
  }
}

// A curve that is not monotone would let an engineer pay more for less.
TEST(TrialPrice, a_larger_shift_costs_less_and_gives_less_lead) {
  const StationNoise noise = normal_noise(0.02, 20'000, 5);
  Pricing pricing(noise, in_force(), {});
  std::optional<Price> last;
  for (const double pct : {2.5, 5.0, 10.0, 20.0}) {
    const auto price = pricing.of(Condition::slow_to_pressure, with_shift(pct));
    ASSERT_TRUE(price.has_value());
    EXPECT_GE(price->lead_days, 0);
    EXPECT_LE(price->lead_days_low, price->lead_days);
    if (last) {
      EXPECT_LE(price->false_a_year, last->false_a_year * 1.05) << pct;
      EXPECT_LE(price->lead_days, last->lead_days + 0.2) << pct;
    }
    last = price;
  }
  EXPECT_FALSE(pricing.of(Condition::station_silent, {}).has_value()) << "it has no chart";
  EXPECT_FALSE(pricing.of(Condition::slow_vent, {}).has_value()) << "no vent was seen";
}

// Equal questions must be answered alike, or two people argue over dice.
TEST(TrialPrice, equal_noise_has_equal_prices) {
  const StationNoise noise = normal_noise(0.02, 5'000, 9);
  Pricing one(noise, in_force(), {});
  Pricing other(noise, in_force(), {});
  (void)other.of(Condition::slow_to_pressure, with_shift(3));
  EXPECT_EQ(one.of(Condition::slow_to_pressure, with_shift(1)), other.of(Condition::slow_to_pressure, with_shift(1)));
}

// The mark on the curve is where people look first.
TEST(TrialPrice, the_knee_is_where_the_curve_bends) {
  EXPECT_EQ(knee_of({{0.01, 0}, {0.1, 18}, {1, 19}, {10, 20}}), 1U);
  EXPECT_FALSE(knee_of({{0.01, 0}, {0.1, 10}, {1, 20}}).has_value()) << "a straight line has none";
  EXPECT_FALSE(knee_of({{0.01, 5}, {0.1, 5}, {1, 5}}).has_value()) << "where lead costs nothing there is none";
  EXPECT_FALSE(knee_of({{0.01, 0}, {1, 20}}).has_value());
}

WarningChange change(Time at, Change what, std::optional<int> line = 1, Condition condition = Condition::slow_to_pressure) {
  WarningChange c;
  c.time = at;
  c.line = line;
  c.condition = condition;
  c.change = what;
  return c;
}

Time day(double number) { return later_by_days(time_from_ms(1'772'323'200'000), number); }

// A warning counted for a repair of another line, or after the fact, would make any threshold look good.
TEST(TrialTroubles, a_warning_counts_only_for_what_came_after_it_on_its_line) {
  auto episodes = episodes_of({change(day(1), Change::raised, 1), change(day(3), Change::raised, 2), change(day(4), Change::cleared, 2),
                               change(day(20), Change::raised, std::nullopt), change(day(20), Change::raised, 1, Condition::reservoir_low),
                               change(day(31), Change::cleared, 1)},
                              day(0));
  ASSERT_EQ(episodes.size(), 4U);
  const std::vector<Trouble> troubles{{day(13), 1, Trouble::Kind::repaired, "hose"}, {day(30), 2, Trouble::Kind::failed, ""}};
  match_troubles(episodes, troubles);
  EXPECT_EQ(episodes[0].trouble, 0U);
  EXPECT_DOUBLE_EQ(episodes[0].lead_days, 12);
  EXPECT_FALSE(episodes[1].trouble.has_value()) << "it had cleared long before";
  EXPECT_EQ(episodes[2].trouble, 1U) << "a warning of the whole station";
  EXPECT_FALSE(episodes[3].trouble.has_value()) << "a low reservoir tells of no line";
  auto late = episodes_of({change(day(14), Change::raised, 1)}, day(0));
  match_troubles(late, {troubles[0]});
  EXPECT_FALSE(late[0].trouble.has_value());
}

// A range that is read wrongly tries other thresholds than were asked for.
TEST(TrialCandidates, ranges_are_read_and_mistakes_are_told) {
  const auto shift = range_of("slow-to-pressure/smallest_shift_pct=1..8:4");
  ASSERT_TRUE(shift.has_value()) << shift.error();
  EXPECT_EQ(shift->name, "conditions/slow-to-pressure/smallest_shift_pct");
  EXPECT_EQ(shift->values, (std::vector<double>{1, 2, 4, 8}));
  EXPECT_EQ(range_of("plan_days=7..28:4")->values, (std::vector<double>{7, 14, 21, 28})) << "even steps where it spans little";
  for (const char* wrong : {"slow-to-pressure=1..2", "plan_days=7", "plan_days=9..7", "plan_days=1..x", "plan_days=1..2:1", "slow-vent/watched=0..1"})
    EXPECT_FALSE(range_of(wrong).has_value()) << wrong;
  EXPECT_EQ(patch_text("conditions/slow-vent/smallest_shift_pct", 10), R"({"conditions":{"slow-vent":{"smallest_shift_pct":10}}})");
  const Contexts contexts{{{"a", "b"}, {.id = {"a", "b"}, .design = {}, .thresholds = {}}}};
  std::vector<ConfigProblem> problems;
  EXPECT_FALSE(candidate_of_text(R"({"plan_days":2})", "x", contexts, problems).has_value()) << "act_days is 3";
  ASSERT_FALSE(problems.empty());
  problems.clear();
  const auto candidate = candidate_of_text(R"({"plan_days":20,"conditions":{"slow-vent":{"smallest_shift_pct":7}}})", "x", contexts, problems);
  ASSERT_TRUE(candidate.has_value()) << text_of(problems.at(0));
  EXPECT_EQ(candidate->contexts.at({"a", "b"}).thresholds.plan_days, 20);
  EXPECT_EQ(candidate->contexts.at({"a", "b"}).thresholds.act_days, 3);
  EXPECT_EQ(candidate->contexts.at({"a", "b"}).thresholds.conditions[5].smallest_shift, 7);
}

}  // namespace
}  // namespace driftline::trial
