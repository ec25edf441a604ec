// Stiffness of a line: worked check COMPUTED from dV = V dp (1/K + D/(t E)); the formula from memory (H. E. Merritt, Hydraulic
// Control Systems (1967), eq. 4-49). Data: K 1.6 GPa, E 200 GPa, D 12 mm, t 1.5 mm, L 60 m, 200 bar.
#include "rules/hydraulics/line_stiffness.h"

#include <gtest/gtest.h>

namespace driftline::hydraulics {
namespace {

constexpr LineShape steel{.bore_mm = 12, .length_m = 60, .wall_mm = 1.5, .wall_modulus_bar = 2.0e6};

TEST(LineStiffness, agrees_with_the_worked_check) {
  // Time to pressure is mostly this volume once the devices have moved.
  const double volume = line_volume_cm3(steel);
  EXPECT_NEAR(volume, 6785.840132, 1e-5);
  const GreaseCompliance grease{.bulk_modulus_bar = 16000};
  LineShape rigid = steel;
  rigid.wall_mm = 0;
  EXPECT_NEAR(volume_taken_cm3(rigid, grease, 200), 84.823002, 1e-5);
  EXPECT_NEAR(volume * 200 * thin_wall_per_bar(steel), 5.428672, 1e-5);
}

TEST(LineStiffness, agrees_on_trapped_air) {
  // 0.1, 0.5 and 1 % of the line as free air at 1 bar, up to 201 bar absolute: COMPUTED.
  const double volume = line_volume_cm3(steel);
  EXPECT_NEAR(air_taken_cm3(volume * 0.001, 200, 1), 6.752080, 1e-5);
  EXPECT_NEAR(air_taken_cm3(volume * 0.005, 200, 1), 33.760399, 1e-5);
  EXPECT_NEAR(air_taken_cm3(volume * 0.01, 200, 1), 67.520797, 1e-5);
}

TEST(LineStiffness, thin_and_thick_walls_meet_where_they_should) {
  // The header promises 10 % at D/t = 20 and a factor of about two at D/t = 2.
  LineShape line{.bore_mm = 20, .length_m = 1, .wall_mm = 1};
  EXPECT_NEAR(thick_wall_per_bar(line) / thin_wall_per_bar(line), 1, 0.10);
  line.wall_mm = 10;
  EXPECT_NEAR(thick_wall_per_bar(line) / thin_wall_per_bar(line), 2, 0.1);
}

TEST(LineStiffness, a_measured_hose_wins_over_its_wall) {
  // A hose gives far more than a pipe of its size: the maker's figure must not be overruled.
  LineShape hose = steel;
  hose.expansion_cm3_per_m_per_bar = 0.02;
  const GreaseCompliance stiff{.bulk_modulus_bar = 1e12};
  EXPECT_NEAR(volume_taken_cm3(hose, stiff, 100), 0.02 * 60 * 100, 1e-3);
}

}  // namespace
}  // namespace driftline::hydraulics
