// Volume that a closed feed line takes up as its pressure rises.
//
//   dV = V dp (1/K + wall) + V_air (1 - p0 / (p0 + dp))
//   wall, thin:  D / (t E)                       ends free to move along the line
//   wall, thick: 2/E ((ro^2 + ri^2)/(ro^2 - ri^2) + nu)   bore area against inside pressure (Lame), plane stress
//   wall, hose:  expansion_cm3_per_m_per_bar / bore area, as its maker measured it
//
// V line volume [cm3]; dp rise above atmosphere [bar]; K bulk modulus of the grease [bar]; D bore, t wall [mm]; E of the
// wall [bar]; nu its Poisson's ratio; V_air free air at p0 = 1.01325 bar [cm3], isothermal (a turn takes minutes).
// Source: thin form H. E. Merritt, Hydraulic Control Systems (1967), eq. 4-49, and Lame's thick cylinder, both from memory;
// a worked value computed beside it in tests/reference/line_stiffness_test.cpp.
// The thin form lies within 10 % of the thick one for D/t >= 20; at D/t = 2 the thick wall takes up about twice as much.
// A rise below 0 is a programmer's mistake. Pure; any thread.
#pragma once

#include <optional>

namespace driftline::hydraulics {

inline constexpr double atmosphere_bar = 1.01325;  // by definition of the standard atmosphere

struct LineShape {
  double bore_mm = 0;
  double length_m = 0;
  double wall_mm = 0;                                         // 0: a wall that does not give
  double wall_modulus_bar = 2.0e6;                            // steel, 200 GPa (common practice, no source)
  double poisson = 0.3;
  std::optional<double> expansion_cm3_per_m_per_bar{};        // a hose, measured; wins over the wall
  bool operator==(const LineShape&) const = default;
};

struct GreaseCompliance {
  double bulk_modulus_bar = 1.6e4;  // mineral oils 1.4 to 1.9 GPa (from memory)
  double free_air_cm3 = 0;
  bool operator==(const GreaseCompliance&) const = default;
};

[[nodiscard]] double line_volume_cm3(const LineShape& line);
[[nodiscard]] double thin_wall_per_bar(const LineShape& line);
[[nodiscard]] double thick_wall_per_bar(const LineShape& line);
// Of the line's wall: hose where measured, else thick.
[[nodiscard]] double wall_per_bar(const LineShape& line);
[[nodiscard]] double air_taken_cm3(double free_air_cm3, double rise_bar, double air_bar = atmosphere_bar);
[[nodiscard]] double volume_taken_cm3(const LineShape& line, const GreaseCompliance& grease, double rise_bar);

}  // namespace driftline::hydraulics
