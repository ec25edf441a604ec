#include <gtest/gtest.h>

#include <cmath>

#include "rules/baseline/figure_baseline.h"
#include "rules/judgement/figures.h"

namespace driftline::rules {
namespace {

constexpr std::int64_t start_ms = 1772323200000;
Time hour(int h) { return time_from_ms(start_ms + h * 3600000LL); }

// If this fails the recursion is no longer the regression that its header names.
TEST(RecursiveFit, equals_the_closed_form_of_bayesian_regression) {
  // One coefficient and a level, prior N(0, 2^2) and N(0, 1), unit observation variance. Closed form: (X'X + P0^-1)^-1 X'y,
  // solved by hand for the three points (1, 0, 1), (1, 1, 3), (1, 2, 4):
  // X'X + P0^-1 = [[3.25, 3], [3, 6]], X'y = [8, 11]; solution [(8*6 - 3*11)/10.5, (3.25*11 - 3*8)/10.5].
  auto fit = RecursiveFit<2>::with_prior({0, 0}, {2, 1});
  fit.learn({1, 0}, 1, 1);
  fit.learn({1, 1}, 3, 1);
  fit.learn({1, 2}, 4, 1);
  EXPECT_NEAR(fit.mean[0], 15.0 / 10.5, 1e-6);
  EXPECT_NEAR(fit.mean[1], 11.75 / 10.5, 1e-6);
  // Covariance: inverse of the same matrix.
  EXPECT_NEAR(fit.variance({1, 0}), 6.0 / 10.5, 1e-6);
  EXPECT_NEAR(fit.variance({0, 1}), 3.25 / 10.5, 1e-6);
}

FigureBaseline learnt(int turns, double slope_per_ten_degrees) {
  FigureBaseline b;
  for (int i = 0; i < turns; ++i) {
    const double u = 0.5 * std::sin(i * 0.26);
    age(b, priors::time_to_pressure, hour(i));
    teach(b, priors::time_to_pressure, {.grease = u, .lag = 0, .is_temperature = true}, hour(i),
          5 + slope_per_ten_degrees * u + 0.01 * std::sin(i * 12.9898));
  }
  return b;
}

// If this fails every frosty morning is a fault.
TEST(FigureBaseline, learns_the_temperature_and_says_what_it_does_not_know_outside_what_it_has_seen) {
  const FigureBaseline b = learnt(500, -0.12);
  const auto inside = expect(b, priors::time_to_pressure, {.grease = -0.4, .lag = 0, .is_temperature = true}, hour(500));
  EXPECT_NEAR(inside.value, 5 + 0.12 * 0.4, 0.01);
  const auto frost = expect(b, priors::time_to_pressure, {.grease = -2.5, .lag = 0, .is_temperature = true}, hour(500));
  EXPECT_NEAR(frost.value, 5 + 0.12 * 2.5, 0.2);
  EXPECT_GT(frost.model_deviation, 10 * inside.model_deviation);
}

// If this fails the falling times of a line that is being purged become the normal that later leaks are measured against.
TEST(FigureBaseline, a_declining_transient_is_not_learnt_as_normal) {
  FigureBaseline b;
  const int turns = 24 * 14;
  for (int i = 0; i < turns; ++i) {
    age(b, priors::time_to_pressure, hour(i));
    teach(b, priors::time_to_pressure, {.grease = 0, .lag = 0, .is_temperature = true}, hour(i), 5 + 0.25 * std::exp(-i / 72.0));
  }
  const auto e = expect(b, priors::time_to_pressure, {.grease = 0, .lag = 0, .is_temperature = true}, hour(turns));
  EXPECT_NEAR(e.value, 5, 0.02);
}

// If this fails one broken reading moves what is normal.
TEST(FigureBaseline, one_outlier_teaches_no_more_than_a_few_deviations) {
  FigureBaseline b = learnt(200, -0.1);
  const auto before = expect(b, priors::time_to_pressure, {.grease = 0, .lag = 0, .is_temperature = true}, hour(200));
  teach(b, priors::time_to_pressure, {.grease = 0, .lag = 0, .is_temperature = true}, hour(200), 12);
  const auto after = expect(b, priors::time_to_pressure, {.grease = 0, .lag = 0, .is_temperature = true}, hour(200));
  EXPECT_LT(std::abs(after.value - before.value), 0.005);
}

}  // namespace
}  // namespace driftline::rules
