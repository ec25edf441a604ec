// The quick decision interval against published intervals and against the exact solution.
//
// COMPUTED: R package spc 0.6.7 (xcusum.crit), as in run_length_test.cpp.
#include "rules/statistics/quick_interval.h"

#include <gtest/gtest.h>

#include <cmath>

#include "rules/statistics/run_length.h"
#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

// The limits of all charts come from here: an error in it is false warnings that nobody asked for.
TEST(QuickInterval, agrees_with_the_published_intervals_to_four_digits) {
  EXPECT_NEAR(quick_cusum_interval(0.5, 500), 4.389130, 5e-4);
  EXPECT_NEAR(quick_cusum_interval(0.5, 5000), 6.669267, 5e-4);    // COMPUTED, one-sided
  EXPECT_NEAR(quick_cusum_interval(0.5, 50000), 8.968762, 5e-4);
}

// Read the other way: the run lengths of the computed table, one-sided without a head start, lead back to its h, to four digits.
TEST(QuickInterval, leads_from_the_run_lengths_of_the_table_back_to_its_intervals) {
  const auto table = reference::read_table("cusum_arl");  // COMPUTED
  int compared = 0;
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const double length = table.number(i, "ARL");
    if (table.text(i, "sided") != "one" || table.number(i, "headstart") != 0 || table.number(i, "shift_sigma") != 0) continue;
    if (length < quick_run_length_least || length > quick_run_length_most) continue;
    const double h = table.number(i, "h");
    EXPECT_NEAR(quick_cusum_interval(table.number(i, "k"), length), h, 1e-4 * h) << "row " << i;
    ++compared;
  }
  EXPECT_EQ(compared, 6);
}

// Between the entries of its table it is interpolated; there too the run length must be the one asked for.
TEST(QuickInterval, gives_the_run_length_asked_for_between_the_entries) {
  for (const double k : {0.03, 0.27, 0.64, 1.03, 1.46, 1.88, 2.33, 2.71})
    for (const double wanted : {2.3e3, 4.4e4, 7.9e5, 2.1e7}) {
      const double h = quick_cusum_interval(k, wanted);
      if (h > 40) continue;  // hundreds of nodes: small k is covered by the shorter ones
      EXPECT_NEAR(cusum_run_length({k, h, 0, Sides::one}) / wanted, 1, 0.02) << k << ' ' << wanted;
    }
}

// Outside of its bounds it must err towards silence, and never give a limit that any turn passes by itself.
TEST(QuickInterval, errs_towards_longer_runs_outside_of_its_table) {
  EXPECT_GE(cusum_run_length({4, quick_cusum_interval(4, 1e5), 0, Sides::one}), 1e5);
  EXPECT_GE(cusum_run_length({1, quick_cusum_interval(1, 10), 0, Sides::one}), 199);
}

}  // namespace
}  // namespace driftline::statistics
