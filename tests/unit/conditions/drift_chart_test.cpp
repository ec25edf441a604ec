#include "rules/conditions/drift_chart.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace driftline::rules {
namespace {

// A chart's sum over errors drawn by `draw`, until `signals` false ones came: mean turns between them, one side.
template <class Draw>
double run_length_of(const ChartDesign& design, const Expectation& expected, int signals, Draw draw) {
  double turns = 0;
  for (int found = 0; found < signals;) {
    DriftChart chart;
    const ChartLimits limits = limits_of(design, expected, far_share(chart));
    for (double sum = 0;;) {
      ++turns;
      sum = std::max(0.0, sum + std::min(draw(), limits.cap) - limits.allowance);
      if (sum > limits.limit) break;
    }
    ++found;
  }
  return turns / signals;
}

// The engineer allows so many false warnings a year: normal turns must not give more. Half of what is allowed is kept for turns
// that are far off, and where the scatter is small against the shift those decide.
TEST(DriftChart, normal_turns_give_no_more_false_signals_than_allowed) {
  std::mt19937_64 random(7);
  for (const double smallest : {0.25, 0.5, 1.0}) {  // deviations
    const ChartDesign design{.smallest_shift = smallest, .fast_shift = 1000, .false_signals_a_year = 10, .turns_a_year = 5000};
    const Expectation expected{.value = 0, .model_deviation = 0, .deviation = 1, .lasting_deviation = 1};
    std::normal_distribution<double> normal;
    const double length = run_length_of(design, expected, 60, [&] { return normal(random); });
    EXPECT_GT(length, 500 * 0.75) << smallest;
    EXPECT_LT(length, 1000 * 2.0) << smallest << ": nothing but the budget decides here";
  }
}

// Turns that are alike sum to more than independent ones of the same scatter; the lasting deviation has to account for it.
TEST(DriftChart, turns_that_are_alike_give_no_more_false_signals_than_allowed) {
  std::mt19937_64 random(8);
  for (const double phi : {0.3, 0.7}) {
    const ChartDesign design{.smallest_shift = 1, .fast_shift = 1000, .false_signals_a_year = 10, .turns_a_year = 5000};
    const Expectation expected{.value = 0, .model_deviation = 0, .deviation = 1, .lasting_deviation = std::sqrt((1 + phi) / (1 - phi))};
    std::normal_distribution<double> normal;
    double now = 0;
    const double length = run_length_of(design, expected, 60, [&] { return now = phi * now + std::sqrt(1 - phi * phi) * normal(random); });
    EXPECT_GT(length, 500 * 0.75) << phi;
    EXPECT_LT(length, 1000 * 4.0) << phi;
  }
}

// Where one turn in a hundred is far off and the others lie still, those turns are what false signals come from.
TEST(DriftChart, far_turns_give_no_more_false_signals_than_allowed) {
  std::mt19937_64 random(9);
  std::uniform_real_distribution<double> chance;
  for (const double smallest : {1.0, 3.0}) {
    const ChartDesign design{.smallest_shift = smallest, .fast_shift = 1000, .false_signals_a_year = 5, .turns_a_year = 5000};
    const Expectation expected{.value = 0, .model_deviation = 0, .deviation = 1, .lasting_deviation = 1};
    EXPECT_GT(run_length_of(design, expected, 40, [&] { return chance(random) < 0.01 ? 50.0 : 0.0; }), 1000 * 0.75) << smallest;
  }
}

// A root of Lundberg's equation that is none would set limits by accident.
TEST(DriftChart, the_limit_for_far_turns_solves_its_equation) {
  for (const double f : {0.001, 0.01, 0.1})
    for (const double allowance : {0.5, 1.0, 4.0}) {
      if (f > 0.5 * allowance / (allowance + 3)) continue;
      const double theta = std::log(1e5) / limit_for_far_turns(3, allowance, f, 1e5);
      EXPECT_NEAR(f * std::exp(3 * theta) + (1 - f) * std::exp(-allowance * theta), 1, 1e-3) << f << ' ' << allowance;
    }
  EXPECT_GT(limit_for_far_turns(3, 0.1, 0.5, 1e5), 0) << "more far turns than any chart can bear";
}

// If this fails the number that the engineer sets decides nothing.
TEST(DriftChart, the_limit_follows_the_budget_however_small_the_scatter) {
  const Expectation expected{.value = 0, .model_deviation = 0.001, .deviation = 0.003, .lasting_deviation = 0.0035};
  double last = 1e9;
  for (const double budget : {0.1, 0.5, 2.0, 10.0}) {
    const ChartDesign design{.smallest_shift = 0.025, .fast_shift = 0.1, .false_signals_a_year = budget * 0.4 / 8, .turns_a_year = 4000};
    const double limit = limits_of(design, expected, 0.001).limit;
    EXPECT_LT(limit, 0.96 * last) << budget;
    EXPECT_GT(limit, 3 * expected.deviation) << "no turn alone may reach it";
    last = limit;
  }
}

// If this fails a fault that goes on is taken for turns that were not seen well, and its chart goes blind.
TEST(DriftChart, a_lasting_shift_is_not_learnt_as_far_turns) {
  const ChartDesign design{.smallest_shift = 0.04, .fast_shift = 10, .false_signals_a_year = 0.01, .turns_a_year = 5000};
  const Expectation expected{.value = 0, .model_deviation = 0, .deviation = 0.01, .lasting_deviation = 0.01};
  DriftChart chart;
  for (int i = 0; i < 50; ++i) (void)follow(chart, design, expected, 0.0, time_from_ms(i * 3600000LL));
  const double before = far_share(chart);
  for (int i = 50; i < 100; ++i) (void)follow(chart, design, expected, 0.3, time_from_ms(i * 3600000LL));
  EXPECT_LE(far_share(chart), before);
  DriftChart odd;
  for (int i = 0; i < 100; ++i) (void)follow(odd, design, expected, i % 10 == 0 ? 0.3 : 0.0, time_from_ms(i * 3600000LL));
  EXPECT_GT(far_share(odd), 0.02) << "turns that come back are such";
}

// If this fails one bad turn can wake somebody.
TEST(DriftChart, a_single_outlier_does_not_signal) {
  DriftChart chart;
  const ChartDesign design{.smallest_shift = 0.04, .fast_shift = 0.12, .false_signals_a_year = 0.01, .turns_a_year = 5000};
  const Expectation expected{.value = 0, .model_deviation = 0.002, .deviation = 0.01, .lasting_deviation = 0.02};
  for (int i = 0; i < 20; ++i) {
    const ChartReading reading = follow(chart, design, expected, i == 10 ? 0.8 : 0.0, time_from_ms(i * 3600000LL));
    EXPECT_EQ(reading.up, Signal::none) << i;
    EXPECT_EQ(reading.down, Signal::none) << i;
  }
}

// If this fails a figure whose samples have become sparse is called drift.
TEST(DriftChart, what_has_become_rough_without_moving_does_not_signal) {
  DriftChart chart;
  const ChartDesign design{.smallest_shift = 0.25, .fast_shift = 0.75, .false_signals_a_year = 0.01, .turns_a_year = 5000};
  const Expectation known{.value = 0, .model_deviation = 0.01, .deviation = 0.02, .lasting_deviation = 0.03};
  for (int i = 0; i < 300; ++i) {
    const double error = i < 50 ? 0.01 * (i % 3 - 1) : 0.6 * std::sin(i * 12.9898) * std::cos(i * 4.1414);
    Expectation now = known;
    const double rough = roughness(chart, known, error);
    if (i < 50) {
      EXPECT_EQ(rough, 1) << i;
    }
    now.deviation *= rough;
    now.lasting_deviation *= rough;
    const ChartReading reading = follow(chart, design, now, error, time_from_ms(i * 3600000LL));
    EXPECT_EQ(reading.up, Signal::none) << i;
    EXPECT_EQ(reading.down, Signal::none) << i;
  }
}

// If this fails a step is taken for roughness, and heard of late.
TEST(DriftChart, a_step_is_not_roughness) {
  DriftChart chart;
  const Expectation known{.value = 0, .model_deviation = 0.002, .deviation = 0.01, .lasting_deviation = 0.02};
  for (int i = 0; i < 30; ++i) (void)roughness(chart, known, 0.01 * std::sin(i * 12.9898));
  double most = 1;
  for (int i = 0; i < 30; ++i) most = std::max(most, roughness(chart, known, 0.2 + 0.01 * std::sin(i * 12.9898)));
  EXPECT_LT(most, 1.5);
}

// If this fails one turn that was not seen well moves what people read for a day.
TEST(DriftChart, a_lone_turn_far_out_hardly_moves_the_shift) {
  DriftChart chart;
  const ChartDesign design{.smallest_shift = 0.04, .fast_shift = 0.12, .false_signals_a_year = 0.01, .turns_a_year = 5000};
  const Expectation expected{.value = 0, .model_deviation = 0.002, .deviation = 0.01, .lasting_deviation = 0.02};
  for (int i = 0; i < 11; ++i) (void)follow(chart, design, expected, i == 10 ? 0.8 : 0.0, time_from_ms(i * 3600000LL));
  EXPECT_LE(shift_of(chart), 0.021);
  // Three in a row are where it now is.
  for (int i = 11; i < 15; ++i) (void)follow(chart, design, expected, 0.8, time_from_ms(i * 3600000LL));
  EXPECT_GT(shift_of(chart), 0.6);
}

// If this fails a small lasting shift goes unseen.
TEST(DriftChart, a_lasting_shift_of_five_per_cent_signals_within_thirty_turns) {
  DriftChart chart;
  const ChartDesign design{.smallest_shift = 0.04, .fast_shift = 0.12, .false_signals_a_year = 0.01, .turns_a_year = 5000};
  const Expectation expected{.value = 0, .model_deviation = 0.002, .deviation = 0.01, .lasting_deviation = 0.02};
  int turns = 0;
  while (turns < 100 && follow(chart, design, expected, 0.05, time_from_ms(turns * 3600000LL)).up == Signal::none) ++turns;
  EXPECT_LE(turns, 30);
  EXPECT_GE(turns, 3);
}

}  // namespace
}  // namespace driftline::rules
