// Trend tests and slopes against worked examples.
#include "rules/statistics/trend.h"

#include <gtest/gtest.h>

#include <numeric>
#include <vector>

#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

using reference::read_table;
using Values = std::vector<double>;

Values count_from(double first, std::size_t n) {
  Values x(n);
  std::iota(x.begin(), x.end(), first);
  return x;
}

// J. Little, College of the Holy Cross, "A Mann-Kendall Example (By Hand)". READ; further digits COMPUTED (R, SciPy 1.10.1).
TEST(MannKendall, agrees_with_the_example_done_by_hand) {
  const Values y{12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7};
  const auto mk = *mann_kendall(y);
  EXPECT_EQ(mk.s, 54);
  EXPECT_NEAR(mk.variance, 332.666667, 1e-6);
  EXPECT_NEAR(mk.z, 2.905836846, 1e-9);
  EXPECT_NEAR(mk.p, 0.003662724, 1e-9);
  EXPECT_NEAR(mk.tau_b, 0.596694190, 1e-9);
  const auto line = *theil_sen(count_from(1, 14), y);
  EXPECT_NEAR(line.slope, 0.566666667, 1e-9);
  EXPECT_NEAR(line.intercept, 11.4, 1e-9);
  EXPECT_NEAR(line.slope_low, 0.325, 1e-9);
  EXPECT_NEAR(line.slope_high, 0.866666667, 1e-9);
}

// USEPA Unified Guidance, EPA 530/R-09-007 (2009), example 17-6. READ-COPY; intervals COMPUTED (SciPy theilslopes).
TEST(MannKendall, agrees_with_the_sulphate_example) {
  const auto table = read_table("epa_17_6_sulfate");
  const auto x = table.numbers("sampling_date"), y = table.numbers("sulfate_ppm");
  const auto mk = *mann_kendall(y);
  EXPECT_EQ(mk.s, 194);
  EXPECT_EQ(mk.variance, 1428);
  EXPECT_NEAR(mk.z, 5.107321597, 1e-9);
  EXPECT_NEAR(mk.p, 3.26757357e-07, 1e-14);
  EXPECT_NEAR(mk.tau_b, 0.774489669, 1e-9);
  EXPECT_NEAR(mk.s / 253, 0.7667984, 1e-7);
  const auto line = *theil_sen(x, y);
  EXPECT_NEAR(line.slope, 26.6666667, 1e-6);
  EXPECT_NEAR(line.intercept, -1909.3333333, 1e-6);
  EXPECT_NEAR(line.slope_low, 20.0, 1e-9);
  EXPECT_NEAR(line.slope_high, 35.849056604, 1e-8);  // 35.71182 with Gilbert's interpolation of the rank
  EXPECT_NEAR(theil_sen(x, y, 0.90)->slope_low, 20.0, 1e-9);
  EXPECT_NEAR(theil_sen(x, y, 0.90)->slope_high, 34.375, 1e-9);
}

// The same guidance, example 17-7. Data READ-COPY, values COMPUTED.
TEST(MannKendall, agrees_with_the_sodium_example) {
  const auto table = read_table("epa_17_7_sodium");
  const auto x = table.numbers("year"), y = table.numbers("sodium_ppm");
  EXPECT_EQ(mann_kendall(y)->s, 25);
  EXPECT_NEAR(mann_kendall(y)->variance, 125, 1e-9);
  EXPECT_NEAR(mann_kendall(y)->z, 2.146625258, 1e-9);
  EXPECT_NEAR(mann_kendall(y)->p, 0.031823127, 1e-9);
  EXPECT_NEAR(theil_sen(x, y)->slope, 1.333333333, 1e-9);
  EXPECT_NEAR(theil_sen(x, y)->intercept, -65.966666667, 1e-8);
  const double level[] = {0.95, 0.90, 0.98}, low[] = {0.454545455, 0.5, -0.5}, high[] = {2.333333333, 2.25, 2.619047619};
  for (int i = 0; i < 3; ++i) {
    EXPECT_NEAR(theil_sen(x, y, level[i])->slope_low, low[i], 1e-8);
    EXPECT_NEAR(theil_sen(x, y, level[i])->slope_high, high[i], 1e-8);
  }
}

// Hollander & Wolfe, cloud seeding (data MEMORY, values COMPUTED).
TEST(TheilSen, agrees_with_the_cloud_seeding_example) {
  const Values x{1, 2, 3, 4, 5}, y{1.26, 1.27, 1.12, 1.16, 1.03};
  const auto line = *theil_sen(x, y);
  EXPECT_NEAR(line.slope, -0.05625, 1e-12);
  EXPECT_NEAR(line.intercept, 1.32875, 1e-9);
  EXPECT_NEAR(line.slope_low, -0.15, 1e-9);
  EXPECT_NEAR(line.slope_high, 0.04, 1e-9);
  EXPECT_EQ(mann_kendall(y)->s, -6);
  EXPECT_NEAR(*kendall_tau_b(x, y), -0.6, 1e-12);
}

// Made-up data with one outlier; COMPUTED.
TEST(TheilSen, is_not_moved_by_an_outlier) {
  const Values y{2.1, 3.9, 6.2, 7.8, 10.1, 12.2, 13.8, 16.1, 40.0, 19.9};
  const auto line = *theil_sen(count_from(1, 10), y);
  EXPECT_NEAR(line.slope, 2.0, 1e-9);
  EXPECT_NEAR(line.slope_low, 1.95, 1e-9);
  EXPECT_NEAR(line.slope_high, 2.2, 1e-9);
  EXPECT_NEAR(*repeated_medians_slope(count_from(1, 10), y), 2.0, 1e-9);
  EXPECT_EQ(mann_kendall(y)->s, 43);
  EXPECT_NEAR(mann_kendall(y)->z, 3.756594202, 1e-9);
}

// Docstring of SciPy's kendalltau. READ.
TEST(KendallTauB, counts_ties_on_both_sides) {
  EXPECT_NEAR(*kendall_tau_b(Values{12, 2, 1, 12, 2}, Values{1, 4, 7, 1, 0}), -0.47140452079103173, 1e-15);
}

// Real series; COMPUTED in R 4.2.2 and SciPy 1.10.1.
TEST(MannKendall, agrees_on_real_series) {
  const auto nile = read_table("nile");
  const auto flow = nile.numbers("flow");
  const auto mk = *mann_kendall(flow);
  EXPECT_EQ(mk.s, -1387);
  EXPECT_NEAR(mk.variance, 112728.333333, 1e-6);
  EXPECT_NEAR(mk.z, -4.128066523, 1e-9);
  EXPECT_NEAR(mk.p, 3.658263e-05, 1e-11);
  const auto line = *theil_sen(nile.numbers("year"), flow);
  EXPECT_NEAR(line.slope, -2.6, 1e-9);
  EXPECT_NEAR(line.slope_low, -3.627906977, 1e-9);
  EXPECT_NEAR(line.slope_high, -1.428571429, 1e-9);

  const auto huron = read_table("lake_huron");
  EXPECT_NEAR(mann_kendall(huron.numbers("level_ft"))->z, -5.159825226, 1e-9);
  EXPECT_NEAR(mann_kendall(huron.numbers("level_ft"))->p, 2.471805e-07, 1e-13);
  EXPECT_NEAR(mann_kendall(huron.numbers("level_ft"))->tau_b, -0.354366708, 1e-9);
  EXPECT_NEAR(theil_sen(huron.numbers("year"), huron.numbers("level_ft"))->slope, -0.025125, 1e-9);

  const auto haven = read_table("nhtemp");
  EXPECT_NEAR(mann_kendall(haven.numbers("temp_F"))->z, 3.977766378, 1e-9);
  // The table at hand prints 6.956957e-05, which does not follow from its own Z: 2 P(-3.977766378) = 6.956567e-05.
  EXPECT_NEAR(mann_kendall(haven.numbers("temp_F"))->p, 6.956567e-05, 1e-11);
  EXPECT_NEAR(theil_sen(haven.numbers("year"), haven.numbers("temp_F"))->slope, 0.0344827586, 1e-9);

  // Strongly cyclic, no trend: must not be read as one.
  EXPECT_GT(mann_kendall(read_table("lynx").numbers("count"))->p, 0.05);
}

}  // namespace
}  // namespace driftline::statistics
