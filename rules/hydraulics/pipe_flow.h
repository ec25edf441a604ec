// Flow of grease and oil through a round pipe, laminar and steady, no slip at the wall. SI units: Pa, m, m3/s.
//
// Newtonian (Hagen-Poiseuille):  Q = pi R^4 dp / (8 mu L)
// Bingham (Buckingham-Reiner):   Q = pi R^3 tau_w / (4 mu_p) (1 - 4/3 phi + 1/3 phi^4),  phi = tau_0 / tau_w
// Herschel-Bulkley:              Q = pi n R^3 A^(1+1/n) / (K^(1/n) tau_w^3) (A^2/(1+3n) + 2 tau_0 A/(1+2n) + tau_0^2/(1+n)),
//                                A = tau_w - tau_0
// with the wall stress tau_w = R dp / (2 L); nothing flows while tau_w <= tau_0.
//
// Sources: E. Buckingham, Proc. ASTM 21 (1921) 1154, and M. Reiner (1926); E. Magnon and E. Cayeux, Fluids 6(4) (2021) 157,
// eq. (8), read in an open implementation of that paper. Checked in tests/reference/pipe_flow_test.cpp.
// Valid for laminar flow (grease lines run at Reynolds numbers far below 1) and R << L. Greases slip at smooth walls: the
// drop found here is then an upper estimate (M. A. Delgado et al., Chem. Eng. Process. 44 (2005), abstract read).
// Negative lengths, stresses or flows are a programmer's mistake. Pure; any thread.
#pragma once

namespace driftline::hydraulics {

struct Pipe {
  double bore_m = 0;
  double length_m = 0;
  bool operator==(const Pipe&) const = default;
};

// tau = yield + consistency * rate^exponent. exponent 1 is a Bingham body; yield 0 as well is a Newtonian liquid.
struct YieldFluid {
  double yield_pa = 0;
  double consistency_pa_s_n = 0;
  double exponent = 1;
  bool operator==(const YieldFluid&) const = default;
};

[[nodiscard]] double wall_stress_pa(const Pipe& pipe, double drop_pa);
[[nodiscard]] double newtonian_flow_m3_s(double viscosity_pa_s, const Pipe& pipe, double drop_pa);
[[nodiscard]] double bingham_flow_m3_s(double yield_pa, double plastic_viscosity_pa_s, const Pipe& pipe, double drop_pa);
[[nodiscard]] double flow_m3_s(const YieldFluid& fluid, const Pipe& pipe, double drop_pa);

// The inverse, to 1e-12 of the drop. A flow of 0 gives the most that the line can hold at rest (below).
[[nodiscard]] double pressure_drop_pa(const YieldFluid& fluid, const Pipe& pipe, double flow_m3_s);

// Radius of the core that moves as a plug; the whole bore when nothing flows.
[[nodiscard]] double plug_radius_m(double yield_pa, const Pipe& pipe, double drop_pa);

// The most pressure difference that a line at rest can hold: 4 L tau_0 / D, the force balance on the plug. It is the floor
// to which a vented line falls.
[[nodiscard]] double held_at_rest_pa(double yield_pa, const Pipe& pipe);

}  // namespace driftline::hydraulics
