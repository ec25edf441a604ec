#include "rules/conditions/drift_chart.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace driftline::rules {
namespace {

// If this fails the decision limits no longer follow from the false warnings that the engineer allows.
TEST(DriftChart, decision_interval_gives_the_run_lengths_of_the_tables) {
  // One-sided, k 0.5: run lengths 500, 5000, 50000 need h 4.389130, 6.669267, 8.968762. Computed with the R package spc 0.6.7
  // (xcusum.crit); Siegmund's approximation is within 1 %.
  EXPECT_NEAR(decision_interval(0.5, 500), 4.389130, 0.05);
  EXPECT_NEAR(decision_interval(0.5, 5000), 6.669267, 0.07);
  EXPECT_NEAR(decision_interval(0.5, 50000), 8.968762, 0.09);
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
