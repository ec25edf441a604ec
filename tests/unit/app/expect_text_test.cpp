#include "gateway/app/expect_text.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace driftline {
namespace {

NamedDesign station(double length_m) {
  NamedDesign out;
  out.name = "northyard/ps-01";
  out.design.settings = {.cycle_s = 7200, .pump_limit_s = 200, .target_bar = 180, .residual_bar = 10, .lines = 1};
  out.design.displacement_cm3_min = 60;
  out.design.lines = {{.length_m = length_m, .bore_mm = 12, .devices = 20, .charges_cm3 = 50}};
  return out;
}

hydraulics::Expectation expected(const NamedDesign& of) { return hydraulics::expected_turns(of.design, {-20, 0, 20}, {}); }

TEST(ExpectText, a_design_that_cannot_work_in_winter_is_told_with_what_would) {
  // The line would be built, and found out in January.
  const NamedDesign far = station(60);
  const std::string text = expectation_table(far, expected(far));
  EXPECT_NE(text.find("Line 1 as designed, from "), std::string::npos) << text;
  EXPECT_NE(text.find("does not work"), std::string::npos) << text;
  EXPECT_NE(text.find("or a higher target, a wider bore, heating"), std::string::npos) << text;
  const NamedDesign less = station(12);
  EXPECT_NE(expectation_table(less, expected(less)).find(" Pa yield stress at 20 C"), std::string::npos);
}

TEST(ExpectText, a_design_that_works_is_not_talked_down) {
  // Words of caution under each table would not be read under the one that matters.
  const NamedDesign near = station(3);
  const std::string text = expectation_table(near, expected(near));
  EXPECT_EQ(text.find("as designed"), std::string::npos) << text;
  EXPECT_EQ(text.find("does not"), std::string::npos) << text;
}

TEST(ExpectText, a_floor_within_what_greases_differ_by_is_doubtful) {
  // A grease that is only assumed cannot prove a line wrong.
  NamedDesign some = station(20);
  const auto e = expected(some);
  bool doubtful = false;
  for (const auto& t : e.turns) doubtful |= !t.vents && t.residual_floor_bar < 2 * e.residual_bar;
  ASSERT_TRUE(doubtful) << "the example no longer lies near the limit";
  EXPECT_NE(expectation_table(some, e).find("doubtful"), std::string::npos);
}

TEST(ExpectText, the_picture_is_whole_and_holds_both_limits) {
  // An open element shows as a blank page; a curve without its limit says nothing.
  const NamedDesign far = station(40);
  const std::string svg = expectation_svg(far, expected(far));
  EXPECT_EQ(svg.rfind("<svg", 0), 0U);
  EXPECT_EQ(svg.substr(svg.size() - 7), "</svg>\n");
  EXPECT_NE(svg.find("the pump limit"), std::string::npos);
  EXPECT_NE(svg.find("as designed"), std::string::npos);
  std::size_t dashed = 0;
  for (std::size_t at = svg.find("stroke-dasharray"); at != std::string::npos; at = svg.find("stroke-dasharray", at + 1)) ++dashed;
  EXPECT_EQ(dashed, 2U);
}

TEST(ExpectText, the_plot_marks_the_limit_in_each_bar) {
  // Bars without a yardstick are decoration.
  const NamedDesign near = station(5);
  const std::string plot = expectation_plot(near, expected(near));
  std::size_t bars = 0;
  for (std::size_t at = plot.find(" C ="); at != std::string::npos; at = plot.find(" C =", at + 1)) ++bars;
  EXPECT_EQ(bars, 6U) << plot;
  EXPECT_EQ(static_cast<std::size_t>(std::count(plot.begin(), plot.end(), '|')), 6U + 2U) << plot;
}

}  // namespace
}  // namespace driftline
