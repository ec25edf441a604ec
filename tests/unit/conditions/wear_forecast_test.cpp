#include "rules/conditions/wear_forecast.h"

#include <gtest/gtest.h>

#include <cmath>

namespace driftline::rules {
namespace {

Time day(double days) { return later_by_days(time_from_ms(1772323200000), days); }

// Flow lost from day 10 on as rate * days^power; the time to pressure goes with the inverse of what is left.
WearHistory worn(double until_day, double rate, double power) {
  WearHistory history;
  for (int i = 0; i < until_day * 8; ++i) {
    const double d = i / 8.0;
    const double loss = d > 10 ? rate * std::pow(d - 10, power) : 0;
    remember(history, day(d), -std::log(1 - loss) + 0.004 * std::sin(i * 12.9898));
  }
  return history;
}

constexpr WearScale scale{.laws = {0, 1, 0}, .limit_shift = 0.7, .limit_deviation = 0.02, .lasting_deviation = 0.015, .wander = 0.006};

// If this fails the days that a technician is given are wrong for the commonest kind of wear.
TEST(WearForecast, linear_wear_is_met_within_a_fifth_of_its_life) {
  // 1 % of the flow a day: a loss of 1 - exp(-0.7) = 0.503 is met 50.3 days after day 10.
  const Forecast f = forecast(worn(40, 0.01, 1), scale, day(40));
  ASSERT_TRUE(f.limit_at.has_value());
  EXPECT_NEAR(days_between(day(40), *f.limit_at), 20.3, 10);
  EXPECT_LT(*f.limit_at_earliest, day(60.3));
  EXPECT_GT(*f.limit_at_latest, day(60.3));
}

// If this fails wear that grows evenly is told far too late: close to the end a leak takes more than seconds show.
TEST(WearForecast, a_leak_that_grows_evenly_is_met_though_its_seconds_speed_up) {
  const WearScale leak{.laws = {0, 0, 1}, .plateau_share = 0.4, .plateau_level = 0.4, .limit_shift = 0.5, .limit_deviation = 0.02,
                       .lasting_deviation = 0.01, .wander = 0.006};
  const double at_limit = loss_of(0.5, LossLaw::with_pressure, leak);
  WearHistory history;
  for (int i = 0; i < 8 * 40; ++i) {  // from day 10 on, met at day 70
    const double loss = std::max(0.0, i / 8.0 - 10) / 60 * at_limit;
    remember(history, day(i / 8.0), shift_of_loss(loss, LossLaw::with_pressure, leak) + 0.004 * std::sin(i * 12.9898));
  }
  const Forecast f = forecast(history, leak, day(40));
  ASSERT_TRUE(f.limit_at.has_value());
  EXPECT_NEAR(days_between(day(10), *f.limit_at), 60, 12);
}

// If this fails the two directions of a law disagree, and a limit is met at another loss than the one that was fitted.
TEST(WearForecast, a_loss_and_its_shift_lead_to_each_other) {
  const WearScale s{.plateau_share = 0.3, .plateau_level = 0.5};
  for (const LossLaw law : {LossLaw::plain, LossLaw::even, LossLaw::with_pressure})
    for (double loss = -0.2; loss < 0.95; loss += 0.05) {
      EXPECT_NEAR(loss_of(shift_of_loss(loss, law, s), law, s), loss, 1e-6);
      EXPECT_LT(shift_of_loss(loss, law, s), shift_of_loss(loss + 0.01, law, s));
    }
  // By hand: f = 0.3 at half the target, l = 0.5: 0.3/0.75 + 0.7 (ln 2 / 0.5) = 0.4 + 0.970406 = 1.370406.
  EXPECT_NEAR(shift_of_loss(0.5, LossLaw::with_pressure, s), std::log(1.370406), 1e-6);
}

// If this fails a cold night looks like wear, although every line of the station had it.
TEST(WearForecast, what_the_other_lines_show_too_is_taken_off) {
  WearHistory alone;
  WearHistory shared;
  for (int i = 0; i < 8 * 40; ++i) {
    const double weather = 0.02 * std::sin(i / 8.0 / 3);
    const double shift = -std::log(1 - 0.01 * std::max(0.0, i / 8.0 - 10));
    remember(alone, day(i / 8.0), shift);
    remember(shared, day(i / 8.0), shift + weather, weather);
  }
  WearScale others = scale;
  others.less_others = 1;
  const Forecast a = forecast(alone, scale, day(40));
  const Forecast b = forecast(shared, others, day(40));
  ASSERT_TRUE(a.limit_at && b.limit_at);
  EXPECT_NEAR(days_between(*a.limit_at, *b.limit_at), 0, 0.1);
}

// If this fails a failure that speeds up comes as a surprise.
TEST(WearForecast, accelerating_wear_is_expected_sooner_than_a_straight_line_says) {
  const double rate = 0.5 / std::pow(40, 2.5);
  const Forecast f = forecast(worn(40, rate, 2.5), scale, day(40));
  const double loss_now = rate * std::pow(30, 2.5);
  const double straight_line_days = (0.503 - loss_now) / (loss_now / 30);
  ASSERT_TRUE(f.limit_at.has_value());
  EXPECT_LT(days_between(day(40), *f.limit_at), straight_line_days);
  EXPECT_LT(*f.limit_at_earliest, day(50));
}

// If this fails a step that stays is told as a coming failure.
TEST(WearForecast, a_step_that_stays_has_no_limit_within_sight) {
  WearHistory history;
  for (int i = 0; i < 8 * 30; ++i) remember(history, day(i / 8.0), (i > 80 ? 0.12 : 0.0) + 0.004 * std::sin(i * 12.9898));
  EXPECT_FALSE(forecast(history, scale, day(30)).limit_at.has_value());
}

// If this fails a station's memory grows with its age.
TEST(WearForecast, the_history_stays_within_its_blocks_and_keeps_its_beginning) {
  WearHistory history;
  for (int i = 0; i < 8 * 400; ++i) remember(history, day(i / 8.0), 0.0);
  EXPECT_LE(history.used, static_cast<int>(wear_blocks_max));
  EXPECT_LT(history.blocks[0].day, 200.0F);
  float turns = 0;
  for (int i = 0; i < history.used; ++i) turns += history.blocks[static_cast<std::size_t>(i)].turns;
  EXPECT_EQ(turns, 8.0F * 400);
}

}  // namespace
}  // namespace driftline::rules
