// Base oil against temperature: tests/reference/data/walther_astm_d341.csv (COMPUTED) and the public worked example behind its
// first rows (READ: 32 mm2/s at 40 C, 5.4 at 100 C, 8.5 at 80 C with T = C + 273).
#include "rules/hydraulics/grease.h"

#include <gtest/gtest.h>

#include "tests/reference/table.h"

namespace driftline::hydraulics {
namespace {

TEST(Walther, agrees_with_the_grid) {
  // Winter behaviour hangs on this line: at -20 C an error of 1 % in its slope is a factor of two.
  const auto table = reference::read_table("walther_astm_d341");
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const BaseOil oil{.at_40_mm2_s = table.number(i, "nu40"), .at_100_mm2_s = table.number(i, "nu100")};
    const WaltherLine line = walther_line(oil);
    EXPECT_NEAR(line.a, table.number(i, "A"), 1e-9);
    EXPECT_NEAR(line.b, table.number(i, "B"), 1e-9);
    const double expected = table.number(i, "nu_T");
    EXPECT_NEAR(viscosity_mm2_s(oil, table.number(i, "T_C")), expected, expected * 1e-9) << "row " << i;
  }
}

TEST(Walther, solves_the_public_worked_example) {
  // Printed to one decimal.
  EXPECT_NEAR(viscosity_mm2_s({.at_40_mm2_s = 32, .at_100_mm2_s = 5.4}, 80), 8.5, 0.05);
}

TEST(Grease, stiffens_with_cold_less_than_its_oil) {
  // A rule that lets grease follow its oil would call every frost a failure.
  const Grease grease;
  const YieldFluid warm = fluid_at(grease, 20);
  const YieldFluid cold = fluid_at(grease, -20);
  EXPECT_DOUBLE_EQ(warm.yield_pa, grease.yield_20c_pa);
  const double oil = viscosity_mm2_s(grease.oil, -20) / viscosity_mm2_s(grease.oil, 20);
  EXPECT_GT(cold.yield_pa / warm.yield_pa, 1.5);
  EXPECT_LT(cold.yield_pa / warm.yield_pa, oil / 5);
}

}  // namespace
}  // namespace driftline::hydraulics
