// Least squares against certified and computed values.
#include "rules/statistics/linear_fit.h"

#include <gtest/gtest.h>

#include <cmath>

#include "rules/statistics/distributions.h"
#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

using reference::read_table;

// NIST StRD, Norris: certified values. READ-COPY.
TEST(LineFit, gives_the_certified_values_of_norris) {
  const auto table = read_table("nist_norris");
  const auto fit = *fit_line(table.numbers("x"), table.numbers("y"));
  EXPECT_NEAR(fit.intercept, -0.262323073774029, 1e-12);
  EXPECT_NEAR(fit.intercept_error, 0.232818234301152, 1e-12);
  EXPECT_NEAR(fit.slope, 1.00211681802045, 1e-13);
  EXPECT_NEAR(fit.slope_error, 0.429796848199937e-03, 1e-14);
  EXPECT_NEAR(fit.residual_sd, 0.884796396144373, 1e-12);
  EXPECT_NEAR(fit.r_squared, 0.999993745883712, 1e-14);
  EXPECT_NEAR(fit.residual_sd * fit.residual_sd * 34, 26.61739853, 1e-8);  // COMPUTED
  // The streaming form keeps all but the last digits.
  LineSums sums;
  for (std::size_t i = 0; i < table.rows.size(); ++i) sums.add(table.number(i, "x"), table.number(i, "y"));
  EXPECT_NEAR(fit_line(sums)->slope, fit.slope, 1e-12);
  EXPECT_NEAR(fit_line(sums)->residual_sd, fit.residual_sd, 1e-7);
}

// NIST StRD univariate NumAcc1 to 4: means and standard deviations follow from the construction (READ-COPY, MEMORY).
TEST(LineSums, keep_their_digits_on_the_hard_means) {
  const auto check = [](double first, double below, double above, double mean, double sd, double tolerance) {
    LineSums sums;
    sums.add(0, first);
    for (int i = 0; i < 500; ++i) sums.add(0, below), sums.add(0, above);
    EXPECT_NEAR(sums.mean_y, mean, 4e-16 * mean);
    EXPECT_NEAR(std::sqrt(sums.syy / 1000), sd, tolerance);
  };
  check(1.2, 1.1, 1.3, 1.2, 0.1, 1e-12);
  check(1000000.2, 1000000.1, 1000000.3, 1000000.2, 0.1, 1e-8);
  check(10000000.2, 10000000.1, 10000000.3, 10000000.2, 0.1, 1e-6);
  LineSums three;
  for (const double y : {10000001.0, 10000003.0, 10000002.0}) three.add(0, y);
  EXPECT_DOUBLE_EQ(three.mean_y, 10000002);
  EXPECT_DOUBLE_EQ(std::sqrt(three.syy / 2), 1);
}

// R's cars; COMPUTED (lm, predict).
TEST(LineFit, gives_rs_intervals_on_cars) {
  const auto table = read_table("cars");
  const auto fit = *fit_line(table.numbers("speed"), table.numbers("dist"));
  EXPECT_NEAR(fit.intercept, -17.57909489, 1e-8);
  EXPECT_NEAR(fit.intercept_error, 6.75844017, 1e-8);
  EXPECT_NEAR(fit.slope, 3.93240876, 1e-8);
  EXPECT_NEAR(fit.slope_error, 0.41551278, 1e-8);
  EXPECT_NEAR(fit.residual_sd, 15.37958675, 1e-8);
  EXPECT_NEAR(fit.sums.sxx, 1370, 1e-9);
  const double rows[][6] = {{5, 2.082948905, -30.333586916, 34.499484727, -7.644150373, 11.810048183},
                            {10, 21.744992701, -9.809600788, 53.299586190, 15.461917340, 28.028068062},
                            {15, 41.407036496, 10.174820505, 72.639252488, 37.021152154, 45.792920839},
                            {21, 65.001489051, 33.422573640, 96.580404462, 58.597383785, 71.405594316},
                            {25, 80.731124088, 48.487298070, 112.974950110, 71.596082653, 89.866165520}};
  for (const auto& row : rows) {
    EXPECT_NEAR(fit.at(row[0]), row[1], 1e-8);
    EXPECT_NEAR(fit.prediction(row[0]).low, row[2], 1e-7);
    EXPECT_NEAR(fit.prediction(row[0]).high, row[3], 1e-7);
    EXPECT_NEAR(fit.confidence(row[0]).low, row[4], 1e-7);
    EXPECT_NEAR(fit.confidence(row[0]).high, row[5], 1e-7);
  }
}

// When does the line meet 60: Fieller's interval. COMPUTED.
TEST(LineFit, meets_a_level_within_fiellers_interval) {
  const auto table = read_table("cars");
  const auto fit = *fit_line(table.numbers("speed"), table.numbers("dist"));
  const auto meets = *x_where(fit, 60);
  EXPECT_NEAR(meets.x, 19.7281360211, 1e-8);
  EXPECT_NEAR(meets.low, 18.4419162404, 1e-8);
  EXPECT_NEAR(meets.high, 21.4235287902, 1e-8);
  EXPECT_NEAR(meets.g, 0.0451354552, 1e-9);
  EXPECT_NEAR(fit.confidence(meets.low).high, 60, 1e-8);
  EXPECT_NEAR(fit.confidence(meets.high).low, 60, 1e-8);
}

// COMPUTED, R 4.2.2.
TEST(LineFit, agrees_on_real_series) {
  const auto slope = [](const char* name, const char* x, const char* y) {
    const auto table = read_table(name);
    return *fit_line(table.numbers(x), table.numbers(y));
  };
  EXPECT_NEAR(slope("nile", "year", "flow").slope, -2.714305431, 1e-8);
  EXPECT_NEAR(slope("nile", "year", "flow").slope_error, 0.521554090, 1e-8);
  EXPECT_NEAR(slope("lake_huron", "year", "level_ft").slope, -0.0242011106, 1e-9);
  EXPECT_NEAR(slope("nhtemp", "year", "temp_F").slope, 0.0369213670, 1e-9);
  EXPECT_NEAR(slope("faithful", "waiting", "eruptions").slope, 0.0756279480, 1e-9);
  EXPECT_NEAR(slope("faithful", "waiting", "eruptions").intercept, -1.8740159864, 1e-9);
}

// Quantiles: R (COMPUTED) and the tables in any text (MEMORY, to the digits shown).
TEST(Distributions, give_the_tabled_quantiles) {
  EXPECT_NEAR(student_quantile(0.975, 48), 2.01063475762, 1e-10);  // COMPUTED
  EXPECT_NEAR(student_quantile(0.975, 1), 12.7062047362, 1e-8);    // MEMORY; equals tan(0.475 pi)
  EXPECT_NEAR(student_quantile(0.975, 1), std::tan(0.475 * 3.14159265358979323846), 1e-9);
  EXPECT_NEAR(student_quantile(0.9, 10), 1.372184, 1e-6);          // MEMORY
  EXPECT_NEAR(normal_quantile(0.975), 1.959963984540054, 1e-14);   // MEMORY
  EXPECT_NEAR(normal_quantile(0.9), 1.2815515655446004, 1e-14);    // MEMORY
  EXPECT_NEAR(1 / normal_quantile(0.75), 1.4826, 5e-5);
  for (const double p : {1e-300, 1e-12, 0.001, 0.3, 0.5, 0.7, 0.999}) EXPECT_NEAR(normal_probability(normal_quantile(p)) / p, 1, 1e-11);
  for (const double p : {1e-6, 0.01, 0.4, 0.95}) EXPECT_NEAR(student_probability(student_quantile(p, 3.5), 3.5) / p, 1, 1e-10);
}

}  // namespace
}  // namespace driftline::statistics
