// Charts as they run, against worked examples.
#include "rules/statistics/charts.h"

#include <gtest/gtest.h>

#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

using reference::read_table;

// NIST/SEMATECH e-Handbook 6.3.2.3; printed values READ-COPY, calc columns COMPUTED.
TEST(Cusum, follows_the_handbooks_table) {
  const auto table = read_table("nist_cusum_6_3_2_3");
  Cusum sums;  // in the data's unit: k and h are given in it
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    sums.add(table.number(i, "x") - 325, 0.3175);
    EXPECT_NEAR(sums.upper, table.number(i, "calc_S_hi"), 1e-9);
    EXPECT_NEAR(sums.lower, table.number(i, "calc_S_lo"), 1e-9);
    EXPECT_NEAR(sums.upper, table.number(i, "printed_S_hi"), 0.0101);
    EXPECT_EQ(sums.above(4.1959) || sums.below(4.1959), i + 1 >= 14) << "group " << i + 1;
  }
}

// Montgomery, example 9.1: the signal comes at 29, and the shift is placed after 22. READ-COPY.
TEST(Cusum, places_montgomerys_shift) {
  const auto table = read_table("montgomery_cusum_ewma");
  Cusum sums;
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    sums.add(table.number(i, "x") - 10, 0.5);
    EXPECT_NEAR(sums.upper, table.number(i, "C_plus"), 1e-9);
    EXPECT_NEAR(sums.lower, table.number(i, "C_minus"), 1e-9);
    EXPECT_EQ(sums.upper_run, static_cast<int>(table.number(i, "N_plus")));
    if (i < 29 && !table.text(i, "printed_C_plus").empty()) {
      EXPECT_NEAR(sums.upper, table.number(i, "printed_C_plus"), 0.0051);
    }
    EXPECT_EQ(sums.above(5), i >= 28) << "period " << i + 1;
    if (i == 28) {
      EXPECT_EQ(sums.upper_run, 7);
      EXPECT_NEAR(sums.upper_shift(0.5), 0.5 + 5.28 / 7, 0.001);  // Montgomery & Runger 16-10. READ
    }
  }
}

// NIST/SEMATECH e-Handbook 6.3.2.4; READ-COPY. One printed value may be off by one in its last place.
TEST(Ewma, follows_the_handbooks_table) {
  const auto table = read_table("nist_ewma_6_3_2_4");
  Ewma average;
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    average.add((table.number(i, "x") - 50) / 2.0539, 0.3);
    EXPECT_NEAR(50 + 2.0539 * average.value, table.number(i, "printed_ewma"), 0.0101);
    EXPECT_NEAR(50 + 3 * 2.0539 * average.sigma(0.3), table.number(i, "ucl_t"), 1e-6);
  }
  EXPECT_NEAR(50 + 3 * 2.0539 * Ewma::lasting_sigma(0.3), 52.588432, 1e-6);  // COMPUTED; printed 52.5884 / 47.4115
}

// Montgomery, example 9.2; COMPUTED from the data.
TEST(Ewma, follows_montgomerys_example) {
  const auto table = read_table("montgomery_cusum_ewma");
  Ewma average;
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    average.add(table.number(i, "x") - 10, 0.1);
    EXPECT_NEAR(10 + average.value, table.number(i, "ewma_0.1"), 1e-6);
    EXPECT_NEAR(10 + 2.7 * average.sigma(0.1), table.number(i, "ewma_ucl_L2.7"), 1e-6);
  }
  EXPECT_NEAR(2.7 * Ewma::lasting_sigma(0.1), 0.619422, 1e-6);
}

// Page, Biometrika 41 (1954); stream, recursion and result READ in the documentation of an open online-learning library.
TEST(PageHinkley, signals_at_the_documented_value) {
  const auto table = read_table("page_hinkley_stream");
  PageHinkley test;
  std::vector<std::size_t> alarms;
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const bool alarm = test.add(table.number(i, "x"), {});
    EXPECT_NEAR(test.mean, table.number(i, "mean"), 1e-12);
    EXPECT_NEAR(test.sum, table.number(i, "sum"), 1e-9);
    if (alarm) {
      alarms.push_back(i);
      test = {};
    }
  }
  EXPECT_EQ(alarms, std::vector<std::size_t>{1006});
}

// Nile flow standardised by its first 20 years; COMPUTED.
TEST(Cusum, sees_the_fall_of_the_nile_in_1902) {
  const auto flow = read_table("nile").numbers("flow");
  Cusum sums;
  for (std::size_t i = 0; i < flow.size() && i <= 31; ++i) {
    sums.add((flow[i] - 1070.85) / 143.8557, 0.5);
    const double wanted[] = {1.563527, 2.66826, 3.536646, 5.656286};  // 1899 to 1902
    if (i >= 28) {
      EXPECT_NEAR(sums.lower, wanted[i - 28], 2e-5);
    }
    EXPECT_EQ(sums.below(5), i == 31);
    EXPECT_FALSE(sums.above(5));
  }
}

}  // namespace
}  // namespace driftline::statistics
