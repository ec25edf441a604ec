// Breaks of the Nile series, COMPUTED with R's strucchange 1.5-3: breakpoints(Nile ~ 1), segments of at least 15.
#include "rules/statistics/change_point.h"

#include <gtest/gtest.h>

#include "tests/reference/table.h"

namespace driftline::statistics {
namespace {

TEST(ChangePoint, finds_the_breaks_of_the_nile) {
  const auto flow = reference::read_table("nile").numbers("flow");
  const auto all = locate_breaks(flow, 15, 5);
  ASSERT_EQ(all.size(), 6u);
  const double rss[] = {2835156.750, 1597457.194, 1552923.616, 1538096.513, 1507888.476, 1659993.500};
  const double bic[] = {1318.242, 1270.084, 1276.467, 1284.718, 1291.944, 1310.765};
  const std::vector<std::vector<std::size_t>> places{{}, {28}, {28, 83}, {28, 68, 83}, {28, 45, 68, 83}, {15, 30, 45, 68, 83}};
  for (std::size_t m = 0; m < 6; ++m) {
    EXPECT_NEAR(all[m].rss, rss[m], 0.00051) << m;
    EXPECT_NEAR(all[m].bic, bic[m], 0.00051) << m;
    EXPECT_EQ(all[m].before, places[m]) << m;
  }
  EXPECT_EQ(best_breaks(flow, 15, 5).before, std::vector<std::size_t>{28});
  const auto shift = *locate_shift(flow, 15);
  EXPECT_EQ(shift.before, 28u);
  EXPECT_NEAR(shift.level_before, 1097.75, 1e-9);
  EXPECT_NEAR(shift.level_after, 849.972222, 1e-6);
}

}  // namespace
}  // namespace driftline::statistics
