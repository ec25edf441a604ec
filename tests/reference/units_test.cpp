// Units: exact legal definitions, checked with GNU Units 2.22 and scipy.constants 1.10.1 (computed); the same factors stand,
// rounded to seven digits, in NIST SP 811 (2008), appendix B.8 (printed digits from memory). tests/reference/data/units.csv.
#include "gateway/telemetry/units.h"

#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <string>

namespace driftline {
namespace {

std::map<std::pair<std::string, std::string>, double> table() {
  std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/reference/data/units.csv");
  std::map<std::pair<std::string, std::string>, double> out;
  std::string line;
  while (std::getline(file, line)) {
    if (line.empty() || line[0] == '#' || line.rfind("from,", 0) == 0) continue;
    const std::size_t first = line.find(',');
    const std::size_t second = line.find(',', first + 1);
    out[{line.substr(0, first), line.substr(first + 1, second - first - 1)}] = std::stod(line.substr(second + 1));
  }
  return out;
}

double ours(const char* unit, double value) { return unit_named(unit)->convert(value); }

TEST(Units, pressures_agree_with_their_definitions) {
  // Every pressure of a mapped plant would be off by a factor.
  const auto factors = table();
  const double bar_in_pa = factors.at({"bar", "Pa"});
  const auto expect = [&](const char* unit, double bar) { EXPECT_NEAR(ours(unit, 1) / bar, 1, 1e-15) << unit; };
  expect("psi", factors.at({"psi", "Pa"}) / bar_in_pa);
  expect("psi", 1 / factors.at({"bar", "psi"}));
  expect("atm", factors.at({"atm", "Pa"}) / bar_in_pa);
  expect("kPa", factors.at({"kPa", "bar"}));
  expect("MPa", factors.at({"MPa", "bar"}));
  expect("kgf/cm2", factors.at({"kgf/cm2", "bar"}));
  expect("Pa", 1 / bar_in_pa);
  expect("mbar", 1e-3);
  EXPECT_NEAR(ours("psi", factors.at({"MPa", "psi"})), 10, 1e-13);
}

TEST(Units, temperatures_agree_with_their_fixed_points) {
  // C = (F - 32)/1.8; K = C + 273.15.
  EXPECT_NEAR(ours("F", -40), -40, 1e-12);
  EXPECT_NEAR(ours("F", 0), -17.777778, 5e-7);
  EXPECT_NEAR(ours("F", 32), 0, 1e-12);
  EXPECT_NEAR(ours("F", 100), 37.777778, 5e-7);
  EXPECT_NEAR(ours("F", 212), 100, 1e-12);
  EXPECT_NEAR(ours("K", 273.15), 0, 1e-12);
}

TEST(Units, durations_and_shares_are_whole_factors) {
  // A cycle of minutes would be taken for seconds.
  EXPECT_EQ(ours("ms", 1500), 1.5);
  EXPECT_EQ(ours("min", 48), 2880);
  EXPECT_EQ(ours("h", 1), 3600);
  EXPECT_EQ(ours("d", 1), 86400);
  EXPECT_EQ(ours("1", 0.5), 50);
  EXPECT_FALSE(unit_named("Bar"));
  EXPECT_FALSE(unit_named(""));
}

}  // namespace
}  // namespace driftline
