// Properties of the estimators that hold for all data; published values are in tests/reference.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "rules/statistics/linear_fit.h"
#include "rules/statistics/robust.h"
#include "rules/statistics/trend.h"

namespace driftline::statistics {
namespace {

using Values = std::vector<double>;

// Whole numbers, so that shifting and scaling by whole numbers and powers of two is exact.
Values some_values(std::size_t least) {
  const auto whole = *rc::gen::suchThat(rc::gen::container<std::vector<int>>(rc::gen::inRange(-1000, 1000)),
                                        [least](const std::vector<int>& v) { return v.size() >= least; });
  return {whole.begin(), whole.end()};
}

Values counted(std::size_t n) {
  Values x(n);
  for (std::size_t i = 0; i < n; ++i) x[i] = static_cast<double>(i);
  return x;
}

double slow_median(Values values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
}

// A location that does not follow a shift of the unit's zero would judge Fahrenheit and Celsius differently.
RC_GTEST_PROP(RobustLocation, follows_shift_and_scale, ()) {
  const Values values = some_values(2);
  const double shift = *rc::gen::inRange(-500, 500), scale = std::ldexp(1.0, *rc::gen::inRange(-3, 4));
  Values moved;
  for (const double v : values) moved.push_back(scale * v + shift);
  RC_ASSERT(std::abs(*median(moved) - (scale * *median(values) + shift)) < 1e-9);
  RC_ASSERT(std::abs(*hodges_lehmann(moved) - (scale * *hodges_lehmann(values) + shift)) < 1e-9);
  RC_ASSERT(std::abs(*median_absolute_deviation(moved) - scale * *median_absolute_deviation(values)) < 1e-9);
  RC_ASSERT(std::abs(huber_location(moved)->location - (scale * huber_location(values)->location + shift)) < 1e-5 * (1 + scale * huber_location(values)->scale));
}

// Turns reordered in the window must not change what a rule makes of them.
RC_GTEST_PROP(RobustLocation, does_not_depend_on_order, ()) {
  const Values values = some_values(1);
  Values turned(values.rbegin(), values.rend());
  std::rotate(turned.begin(), turned.begin() + static_cast<std::ptrdiff_t>(turned.size() / 3), turned.end());
  RC_ASSERT(*median(values) == *median(turned));
  RC_ASSERT(*hodges_lehmann(values) == *hodges_lehmann(turned));
  RC_ASSERT(*median_absolute_deviation(values) == *median_absolute_deviation(turned));
  RC_ASSERT(*quantile(values, 0.3) == *quantile(turned, 0.3));
}

// The selections must be the medians that their definitions say.
RC_GTEST_PROP(HodgesLehmann, equals_the_definition, ()) {
  const Values x = some_values(1), y = some_values(1);
  Values averages, differences;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i; j < x.size(); ++j) averages.push_back(0.5 * (x[i] + x[j]));
  for (const double a : x)
    for (const double b : y) differences.push_back(a - b);
  RC_ASSERT(*hodges_lehmann(x) == slow_median(averages));
  RC_ASSERT(*hodges_lehmann_shift(x, y) == slow_median(differences));
  RC_ASSERT(*hodges_lehmann_shift(x, y) == -*hodges_lehmann_shift(y, x));
}

RC_GTEST_PROP(TheilSen, equals_the_definition_and_follows_shear_and_scale, ()) {
  const Values y = some_values(2), x = counted(y.size());
  Values slopes;
  for (std::size_t i = 0; i < y.size(); ++i)
    for (std::size_t j = i + 1; j < y.size(); ++j) slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
  const auto line = *theil_sen(x, y);
  RC_ASSERT(std::abs(line.slope - slow_median(slopes)) < 1e-12);
  RC_ASSERT(line.slope_low <= line.slope);
  RC_ASSERT(line.slope <= line.slope_high);
  const double tilt = *rc::gen::inRange(-50, 50), shift = *rc::gen::inRange(-500, 500);
  Values tilted;
  for (std::size_t i = 0; i < y.size(); ++i) tilted.push_back(2 * y[i] + tilt * x[i] + shift);
  RC_ASSERT(std::abs(theil_sen(x, tilted)->slope - (2 * line.slope + tilt)) < 1e-9);
}

RC_GTEST_PROP(MannKendall, equals_the_definition_and_knows_only_order, ()) {
  const Values y = some_values(2);
  double s = 0;
  for (std::size_t i = 0; i < y.size(); ++i)
    for (std::size_t j = i + 1; j < y.size(); ++j) s += (y[j] > y[i]) - (y[j] < y[i]);
  const auto test = *mann_kendall(y);
  RC_ASSERT(test.s == s);
  Values cubes, reversed(y.rbegin(), y.rend());
  for (const double v : y) cubes.push_back(v * v * v);
  RC_ASSERT(mann_kendall(cubes)->z == test.z);
  RC_ASSERT(mann_kendall(reversed)->z == -test.z);
}

// A streaming sum that depends on the offset would lose the line in large level counts.
RC_GTEST_PROP(LineSums, streams_to_what_the_points_give, ()) {
  const Values y = some_values(3), x = counted(y.size());
  LineSums sums, far;
  for (std::size_t i = 0; i < y.size(); ++i) {
    sums.add(x[i], y[i]);
    far.add(x[i] + 1e6, y[i] + 1e6);
  }
  const auto batch = *fit_line(x, y), streamed = *fit_line(sums), moved = *fit_line(far);
  RC_ASSERT(std::abs(batch.slope - streamed.slope) < 1e-9);
  RC_ASSERT(std::abs(batch.slope - moved.slope) < 1e-6);
  RC_ASSERT(std::abs(batch.residual_sd - streamed.residual_sd) < 1e-6 * (1 + batch.residual_sd));
}

// Nothing to say is said by an empty answer, never by a number or a throw.
TEST(Estimators, give_nothing_for_too_few_values) {
  const Values none, one{3}, same{1, 1, 1};
  EXPECT_FALSE(median(none));
  EXPECT_FALSE(quantile(none, 0.5));
  EXPECT_FALSE(median_absolute_deviation(none));
  EXPECT_FALSE(hodges_lehmann(none));
  EXPECT_FALSE(hodges_lehmann_shift(one, none));
  EXPECT_FALSE(huber_location(none));
  EXPECT_FALSE(huber_proposal_2(one));
  EXPECT_FALSE(mann_kendall(one));
  EXPECT_FALSE(theil_sen(same, same));
  EXPECT_FALSE(kendall_tau_b(same, same));
  EXPECT_FALSE(fit_line(one, one));
  EXPECT_FALSE(fit_line(same, same));
  EXPECT_EQ(mann_kendall(same)->z, 0);
  EXPECT_EQ(huber_location(same)->location, 1);
}

// A line that may be level never meets a mark for sure: no date may be claimed.
TEST(LineFit, claims_no_meeting_when_the_slope_is_not_told_from_nothing) {
  const Values x{0, 1, 2, 3, 4, 5}, y{3, 1, 4, 1, 5, 2};
  EXPECT_FALSE(x_where(*fit_line(x, y), 100));
}

}  // namespace
}  // namespace driftline::statistics
