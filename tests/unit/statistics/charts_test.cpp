// Charts and run lengths: the corners that the tables do not show.
#include <gtest/gtest.h>

#include <vector>

#include "rules/statistics/change_point.h"
#include "rules/statistics/charts.h"
#include "rules/statistics/run_length.h"

namespace driftline::statistics {
namespace {

// A larger interval must run longer, or a stricter budget would give more false warnings.
TEST(RunLength, grows_with_the_interval_and_falls_with_the_shift) {
  double before = 0;
  for (double h = 1; h < 12; h += 0.5) {
    const double length = cusum_run_length({0.5, h, 0, Sides::one});
    EXPECT_GT(length, before);
    EXPECT_LT(cusum_run_length({0.5, h, 0, Sides::one}, 0.3), length);
    before = length;
  }
}

// The interval and the run length must be each other's inverse, also where a station's budget lies.
TEST(RunLength, of_the_derived_interval_is_the_wanted_one) {
  for (const double wanted : {50.0, 5000.0, 2e6}) {
    EXPECT_NEAR(cusum_run_length({0.25, cusum_interval(0.25, wanted), 0, Sides::two}) / wanted, 1, 1e-7);
    EXPECT_NEAR(cusum_run_length({0.5, cusum_interval(0.5, wanted, Sides::one), 0, Sides::one}) / wanted, 1, 1e-7);
  }
}

// One side with a floor signals for a rise only; it must run longer than two sides at the same width.
TEST(RunLength, of_a_one_sided_average_is_longer_than_of_two_sides) {
  const double one = ewma_run_length({.lambda = 0.1, .width = 2.7, .sides = Sides::one});
  const double two = ewma_run_length({.lambda = 0.1, .width = 2.7});
  EXPECT_GT(one, two);
  EXPECT_LT(ewma_run_length({.lambda = 0.1, .width = 2.7, .sides = Sides::one}, 1), 12);
}

// Without a run of its own the estimated shift would divide by nothing.
TEST(Cusum, estimates_no_shift_while_at_zero) {
  Cusum sums;
  sums.add(-1, 0.5);
  EXPECT_EQ(sums.upper_shift(0.5), 0);
  EXPECT_NEAR(sums.lower_shift(0.5), -1, 1e-12);
  EXPECT_EQ(Cusum::with_head_start(2).upper, 2);
}

TEST(ChangePoint, of_too_short_a_series_is_not_claimed) {
  const std::vector<double> three{1, 2, 3};
  EXPECT_FALSE(locate_shift(three, 2));
  EXPECT_TRUE(locate_breaks(std::vector<double>{}, 2, 2).empty());
  EXPECT_TRUE(best_breaks(std::vector<double>{}, 2, 2).before.empty());
}

}  // namespace
}  // namespace driftline::statistics
