// Run lengths of CUSUM and EWMA against published tables and another solver.
//
// COMPUTED: R package spc 0.6.7 on R 4.2.2. READ-COPY: tables quoted in that package's manual. MEMORY: recalled.
#include "rules/statistics/run_length.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

using reference::read_table;

// Half a unit in the last of `digits` printed decimals, a hair more.
double half_unit(int decimals) { return 0.5001 * std::pow(10.0, -decimals); }

// A wrong kernel, head start or side would derive wrong decision limits, and with them false warnings.
TEST(CusumRunLength, agrees_with_the_computed_table) {
  const auto table = read_table("cusum_arl");  // COMPUTED
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const CusumDesign design{table.number(i, "k"), table.number(i, "h"), table.number(i, "headstart"),
                             table.text(i, "sided") == "one" ? Sides::one : Sides::two};
    const double wanted = table.number(i, "ARL");
    EXPECT_NEAR(cusum_run_length(design, table.number(i, "shift_sigma")), wanted, 2e-8 * wanted) << "row " << i;
  }
}

// The published digits themselves, so that an error common to both programs would show.
TEST(CusumRunLength, agrees_with_lucas_and_crosier) {
  // Lucas & Crosier, Technometrics 24 (1982) 199-205, Table 1, two-sided, k 0.5, h 4. READ-COPY.
  const double shifts[] = {0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5};
  const double plain[] = {168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71, 1.31};
  const double head[] = {149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.59, 1.32, 1.07, 1.01};
  for (int i = 0; i < 11; ++i) {
    const auto decimals = [](double v) { return v >= 100 ? 0 : v >= 10 ? 1 : 2; };
    EXPECT_NEAR(cusum_run_length({0.5, 4, 0, Sides::two}, shifts[i]), plain[i], half_unit(decimals(plain[i])));
    // 1.325393 is printed as 1.32.
    EXPECT_NEAR(cusum_run_length({0.5, 4, 2, Sides::two}, shifts[i]), head[i], 1.1 * half_unit(decimals(head[i])));
  }
  // Montgomery's table for h 5, two-sided. MEMORY.
  const double montgomery[] = {465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01, 1.69};
  for (int i = 0; i < 11; ++i) EXPECT_NEAR(cusum_run_length({0.5, 5, 0, Sides::two}, shifts[i]), montgomery[i], 0.006 * montgomery[i]);
}

// Small and negative shifts, k = 0: the corners in which a coarse Markov chain goes wrong.
TEST(CusumRunLength, agrees_with_other_published_values) {
  const auto one = [](double k, double h, double shift) { return cusum_run_length({k, h, 0, Sides::one}, shift); };
  // Brook & Evans, Biometrika 59 (1972) 539: 117.59 / 3.75. READ-COPY; COMPUTED 117.60.
  EXPECT_NEAR(one(0.5, 3, 0), 117.595704, 1e-5);
  EXPECT_NEAR(one(0.5, 3, 1.5), 3.75, half_unit(2));
  // Vance, J. Quality Technology 18 (1986) 189, k 0, h 10. READ-COPY; COMPUTED 2071.57 where 2071.51 is printed.
  EXPECT_NEAR(one(0, 10, -0.25), 2071.57, half_unit(2));
  const double shifts[] = {-0.125, 0, 0.125, 0.25, 0.5, 0.75, 1};
  const double lengths[] = {400.28, 124.66, 59.30, 36.71, 20.37, 14.06, 10.75};
  for (int i = 0; i < 7; ++i) EXPECT_NEAR(one(0, 10, shifts[i]), lengths[i], half_unit(2));
  // Waldmann, Technometrics 28 (1986) 61: 1963, 117.4, 17.35. READ-COPY; COMPUTED 1962.79, 117.60, 17.35.
  EXPECT_NEAR(one(0.5, 3, -0.5), 1962.79, half_unit(2));
  EXPECT_NEAR(one(0.5, 3, 0.5), 17.35, half_unit(2));
  // SAS/QC manual (1999), k 0.25, h 8, shift 2.5, head start 0 / 0.1. READ-COPY.
  EXPECT_NEAR(one(0.25, 8, 2.5), 4.1500836225, 2e-7);
  EXPECT_NEAR(cusum_run_length({0.25, 8, 0.1, Sides::one}, 2.5), 4.1061588131, 2e-7);
}

// A limit that is off by a little is off by much in false warnings a year.
TEST(CusumInterval, gives_the_wanted_run_length) {
  // COMPUTED, xcusum.crit, two-sided; beside it Hawkins (1993), MEMORY: 8.01 4.77 3.34 2.52 1.99 1.61.
  const double k[] = {0.25, 0.5, 0.75, 1, 1.25, 1.5};
  const double at_370[] = {8.0082887, 4.7738337, 3.3389734, 2.5162601, 1.9862243, 1.6040994};
  const double at_370_4[] = {8.0103476, 4.7748970, 3.3396884, 2.5167932, 1.9866527, 1.6044748};
  const double hawkins[] = {8.01, 4.77, 3.34, 2.52, 1.99, 1.61};
  for (int i = 0; i < 6; ++i) {
    EXPECT_NEAR(cusum_interval(k[i], 370), at_370[i], 1e-6);
    EXPECT_NEAR(cusum_interval(k[i], 370.4), at_370_4[i], 1e-6);
    EXPECT_NEAR(cusum_interval(k[i], 370), hawkins[i], 0.01);
  }
  EXPECT_NEAR(cusum_interval(0.5, 500, Sides::one), 4.389130, 1e-6);
  EXPECT_NEAR(cusum_interval(0.5, 5000, Sides::one), 6.669267, 1e-6);
  EXPECT_NEAR(cusum_interval(0.5, 50000, Sides::one), 8.968762, 1e-6);
  EXPECT_NEAR(cusum_interval(0.5, 465), 4.9990592, 1e-6);
  EXPECT_NEAR(cusum_interval(0.5, 1000), 5.7573503, 1e-6);
}

// The reader of a chart asks after how many turns it speaks, not only the mean.
TEST(CusumRunLength, has_the_computed_quantiles_and_steady_delays) {
  EXPECT_EQ(cusum_run_length_quantile(0.5, 5, 0, 0.5), 647);   // COMPUTED
  EXPECT_EQ(cusum_run_length_quantile(0.5, 5, 0, 0.05), 54);
  EXPECT_EQ(cusum_run_length_quantile(0.5, 5, 1, 0.5), 9);
  EXPECT_EQ(cusum_run_length_quantile(0.5, 5, 1, 0.95), 21);
  const double shifts[] = {0, 0.5, 1, 2};
  const double delays[] = {924.90801, 36.504831, 9.6499069, 3.6890047};  // COMPUTED, xcusum.ad
  for (int i = 0; i < 4; ++i) EXPECT_NEAR(cusum_steady_delay(0.5, 5, shifts[i]), delays[i], 1e-7 * delays[i]);
}

// Siegmund's approximation as an independent bound (MEMORY of the formula): within 1 % of the exact values.
TEST(CusumRunLength, lies_within_a_per_cent_of_siegmunds_approximation) {
  for (const double shift : {0.0, 0.5, 1.0}) {
    const double d = shift - 0.5, b = 5 + 1.166;
    const double siegmund = d == 0 ? b * b : (std::exp(-2 * d * b) + 2 * d * b - 1) / (2 * d * d);
    EXPECT_NEAR(cusum_run_length({0.5, 5, 0, Sides::one}, shift) / siegmund, 1, 0.01);
  }
}

// Wear is a drift, not a step: how long until it is seen.
TEST(CusumRunLength, under_drift_agrees_with_the_table_and_with_gan) {
  const auto table = read_table("cusum_drift_arl");  // COMPUTED
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const double k = table.number(i, "k"), h = table.number(i, "h"), delta = table.number(i, "delta");
    const double from_delta = table.number(i, "ARL_first_mean_delta"), from_0 = table.number(i, "ARL_first_mean_0");
    EXPECT_NEAR(cusum_run_length_under_drift(k, h, delta, delta), from_delta, 1e-7 * from_delta) << "row " << i;
    EXPECT_NEAR(cusum_run_length_under_drift(k, h, delta, 0), from_0, 1e-7 * from_0) << "row " << i;
  }
  // Gan, The Statistician 41 (1992) 71-84, Table 1, k 0.25, h 8. READ-COPY; at 0.005 it differs by 1 % (76.3 is the
  // value for a first mean of delta).
  const double delta[] = {0.0005, 0.001, 0.002, 0.01, 0.02, 0.05, 0.1, 0.5, 1, 3};
  const double gan[] = {261, 187, 129, 52.0, 35.2, 21.4, 15.0, 6.95, 5.16, 3.30};
  for (int i = 0; i < 10; ++i) EXPECT_NEAR(cusum_run_length_under_drift(0.25, 8, delta[i]), gan[i], 0.0025 * gan[i]);
}

// The EWMA's limits are derived the same way.
TEST(EwmaRunLength, agrees_with_the_computed_table) {
  const auto table = read_table("ewma_arl");  // COMPUTED
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const EwmaDesign design{.lambda = table.number(i, "lambda"), .width = table.number(i, "L"),
                            .limits = table.text(i, "limits") == "fix" ? EwmaLimits::fixed : EwmaLimits::exact};
    const double wanted = table.number(i, "ARL");
    EXPECT_NEAR(ewma_run_length(design, table.number(i, "shift_sigma")), wanted, 1e-7 * wanted) << "row " << i;
  }
}

// Printed digits of three papers.
TEST(EwmaRunLength, agrees_with_published_values) {
  const auto run = [](double lambda, double width, double shift) { return ewma_run_length({.lambda = lambda, .width = width}, shift); };
  // Lucas & Saccucci, Technometrics 32 (1990) 1-12, Table 3. READ-COPY.
  const double shifts[] = {0, .25, .5, .75, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5};
  const double half[] = {500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.58, 1.34, 1.07};
  const double slow[] = {500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.49, 3.11, 2.55};
  for (int i = 0; i < 12; ++i) {
    EXPECT_NEAR(run(0.5, 3.071, shifts[i]), half[i], 0.004 * half[i]);
    EXPECT_NEAR(run(0.03, 2.437, shifts[i]), slow[i], 0.003 * slow[i]);
  }
  // Crowder, Technometrics 29 (1987) 401, Table 1. READ-COPY.
  const double crowder_half[] = {26.45, 20.12, 11.89, 7.29, 4.91}, crowder_slow[] = {127.53, 43.94, 18.97, 11.64, 8.38};
  for (int i = 0; i < 5; ++i) {
    EXPECT_NEAR(run(0.5, 2, shifts[i]), crowder_half[i], half_unit(2));
    EXPECT_NEAR(run(0.05, 2, shifts[i]), crowder_slow[i], half_unit(2));
  }
  EXPECT_NEAR(run(0.25, 3, 1), 11.154267016, 1e-7);  // SAS/QC manual (1999). READ-COPY
  // Head start as two averages from +-half the limit: Lucas & Saccucci Table 5, l 0.03 L 2.437, printed 406, 18.4, 7.36,
  // 3.43, 2.34 (READ-COPY); COMPUTED 404.590398, 18.404269, 7.339227, 3.430014, 2.343789.
  const double head_shift[] = {0, 0.5, 1, 2, 3}, head[] = {404.590398, 18.404269, 7.339227, 3.430014, 2.343789};
  for (int i = 0; i < 5; ++i)
    EXPECT_NEAR(ewma_run_length({.lambda = 0.03, .width = 2.437, .head_start = 0.5}, head_shift[i]), head[i], 0.002 * head[i]);
}

TEST(EwmaRunLength, under_drift_agrees_with_the_computed_values) {
  // A first mean of 1 x delta; l 0.1, L 2.814, two-sided. COMPUTED, xDewma.arl.
  const double delta[] = {0.01, 0.02, 0.05, 0.1}, length[] = {53.3339983, 34.8417946, 20.0262793, 13.3418454};
  for (int i = 0; i < 4; ++i)
    EXPECT_NEAR(ewma_run_length_under_drift({.lambda = 0.1, .width = 2.814}, delta[i], delta[i]), length[i], 1e-7 * length[i]);
}

TEST(EwmaWidth, gives_the_wanted_run_length) {
  // COMPUTED, xewma.crit.
  const double lambda[] = {0.05, 0.1, 0.2, 0.25, 0.4};
  const double at_370[] = {2.490146, 2.7014611, 2.8593378, 2.8980238, 2.9589238};
  const double at_500[] = {2.6150546, 2.8143100, 2.9621784, 2.9981076, 3.0540304};
  const double at_1000[] = {2.8837565, 3.0585666, 3.1865864, 3.2170945, 3.2633274};
  for (int i = 0; i < 5; ++i) {
    EXPECT_NEAR(ewma_width(lambda[i], 370.4), at_370[i], 1e-6);
    EXPECT_NEAR(ewma_width(lambda[i], 500), at_500[i], 1e-6);
    EXPECT_NEAR(ewma_width(lambda[i], 1000), at_1000[i], 1e-6);
  }
  // Crowder (1989), run length 250. READ-COPY.
  const double lambda_250[] = {.05, .1, .15, .2, .25}, crowder[] = {2.32, 2.55, 2.65, 2.72, 2.76};
  for (int i = 0; i < 5; ++i) EXPECT_NEAR(ewma_width(lambda_250[i], 250), crowder[i], 0.011);
}

}  // namespace
}  // namespace driftline::statistics
