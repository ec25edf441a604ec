// Robust location and spread against R and published data sets.
#include "rules/statistics/robust.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <vector>

#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

using reference::read_table;
using Values = std::vector<double>;

// COMPUTED, R 4.2.2 mad().
TEST(MedianAbsoluteDeviation, agrees_with_the_r_help_page) {
  EXPECT_DOUBLE_EQ(*median_absolute_deviation(Values{1, 2, 3, 5, 7, 8}), 2.5);
  EXPECT_NEAR(mad_to_sigma * *median_absolute_deviation(Values{1, 2, 3, 5, 7, 8}), 3.7065, 1e-9);
  EXPECT_NEAR(mad_to_sigma * *median_absolute_deviation(Values{1, 2, 3, 4, 5, 6, 7, 8, 9}), 2.9652, 1e-9);
  EXPECT_NEAR(mad_to_sigma * *median_absolute_deviation(Values{1, 2, 3, 4, 5, 6, 7, 8, 100}), 2.9652, 1e-9);
}

// NIST e-Handbook 1.3.5.17.1 (data READ-COPY), modified z-score of Iglewicz & Hoaglin (COMPUTED).
TEST(MedianAbsoluteDeviation, sees_the_outlier_that_a_plain_z_score_cannot) {
  const Values uranium{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57};
  EXPECT_NEAR(*median(uranium), 201.37, 1e-9);
  EXPECT_NEAR(*median_absolute_deviation(uranium), 0.995, 1e-9);
  EXPECT_NEAR(0.6745 * (245.57 - *median(uranium)) / *median_absolute_deviation(uranium), 29.962714, 1e-5);
}

// NIST e-Handbook 7.2.6.2, the definition called R7 there. READ-COPY.
TEST(Quantile, agrees_with_the_handbooks_wafers) {
  const Values wafers{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682};
  EXPECT_NEAR(*quantile(wafers, 0.9), 95.1957, 0.00005);
}

// Copper in flour: Analytical Methods Committee, The Analyst 114 (1989) 1693-1702; COMPUTED, MASS 7.3-58.2.
TEST(HuberLocation, agrees_with_mass_on_copper) {
  const auto copper = read_table("mass_chem").numbers("copper_ppm");
  ASSERT_EQ(copper.size(), 24u);
  EXPECT_NEAR(std::accumulate(copper.begin(), copper.end(), 0.0) / 24, 4.280416667, 1e-9);
  EXPECT_NEAR(*median(copper), 3.385, 1e-9);
  EXPECT_NEAR(*median_absolute_deviation(copper), 0.355, 1e-9);
  EXPECT_NEAR(huber_location(copper, 1.5)->location, 3.206724, 1e-5);
  EXPECT_NEAR(huber_location(copper, 1.28)->location, 3.222290, 1e-5);
  EXPECT_NEAR(huber_proposal_2(copper)->location, 3.205498, 1e-5);
  EXPECT_NEAR(huber_proposal_2(copper)->scale, 0.673652, 1e-5);
}

// Nickel in syenite: Abbey (1988); COMPUTED, MASS 7.3-58.2.
TEST(HuberLocation, agrees_with_mass_on_nickel) {
  const auto nickel = read_table("mass_abbey").numbers("nickel_ppm");
  ASSERT_EQ(nickel.size(), 31u);
  EXPECT_NEAR(*median(nickel), 11, 1e-9);
  EXPECT_NEAR(mad_to_sigma * *median_absolute_deviation(nickel), 4.4478, 1e-9);
  EXPECT_NEAR(huber_location(nickel, 1.5)->location, 11.55136, 1e-4);
  EXPECT_NEAR(huber_proposal_2(nickel)->location, 11.73151, 1e-4);
  EXPECT_NEAR(huber_proposal_2(nickel)->scale, 5.258487, 1e-4);
}

// Hollander & Wolfe's data as in the R help page of wilcox.test; COMPUTED.
TEST(HodgesLehmann, agrees_with_r_on_paired_and_two_sample_data) {
  const Values x{1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30};
  const Values y{0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29};
  Values difference;
  for (std::size_t i = 0; i < x.size(); ++i) difference.push_back(x[i] - y[i]);
  EXPECT_NEAR(*hodges_lehmann(difference), 0.46, 1e-9);
  const Values a{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}, b{1.15, 0.88, 0.90, 0.74, 1.21};
  EXPECT_NEAR(*hodges_lehmann_shift(a, b), 0.305, 1e-9);
}

// R's airquality, ozone; COMPUTED.
TEST(Median, agrees_with_r_on_series_with_missing_values) {
  const auto ozone = read_table("airquality").numbers("Ozone");
  ASSERT_EQ(ozone.size(), 116u);
  EXPECT_NEAR(*median(ozone), 31.5, 1e-9);
  EXPECT_NEAR(mad_to_sigma * *median_absolute_deviation(ozone), 25.9455, 1e-9);
  EXPECT_NEAR(*median(read_table("lynx").numbers("count")), 771, 1e-9);
  const auto flow = read_table("nile").numbers("flow");
  EXPECT_NEAR(*median(std::span(flow).first(28)), 1130, 1e-9);
  EXPECT_NEAR(*median(std::span(flow).subspan(28)), 842.5, 1e-9);
}

}  // namespace
}  // namespace driftline::statistics
