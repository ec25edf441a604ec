// A grease against temperature.
//
// Base oil (Walther; ASTM D341): log10 log10 (nu + 0.7) = A - B log10 T, nu in mm2/s, T in kelvin; the standard's terms for
// less than 2 mm2/s are left out. Checked in tests/reference/grease_test.cpp against a public worked example.
// The grease itself: yield stress and consistency follow the base oil's viscosity by powers below one, anchored at 20 C:
//   tau_0(T) = tau_0(20) (nu(T)/nu(20))^0.25,   K(T) = K(20) (nu(T)/nu(20))^0.30
// The powers are common practice without a source: greases stiffen with cold far less than their oil does. Good for
// telling which way and roughly how far between -30 and +60 C; ask the grease's maker for its own curve.
#pragma once

#include "rules/hydraulics/pipe_flow.h"

namespace driftline::hydraulics {

struct BaseOil {
  double at_40_mm2_s = 220;
  double at_100_mm2_s = 19;
  bool operator==(const BaseOil&) const = default;
};

struct WaltherLine {
  double a = 0;
  double b = 0;
};

[[nodiscard]] WaltherLine walther_line(const BaseOil& oil);
[[nodiscard]] double viscosity_mm2_s(const BaseOil& oil, double temp_c);

struct Grease {
  BaseOil oil;
  double yield_20c_pa = 200;           // of the order of a soft multi-purpose grease (common practice, no source)
  double consistency_20c_pa_s_n = 50;
  double exponent = 0.4;
  double yield_power = 0.25;
  double consistency_power = 0.30;
  bool operator==(const Grease&) const = default;
};

[[nodiscard]] YieldFluid fluid_at(const Grease& grease, double temp_c);

}  // namespace driftline::hydraulics
