// Pipe flow of yield-stress fluids. Grids: tests/reference/data/{buckingham_reiner,herschel_bulkley}.csv (COMPUTED, checked
// against adaptive quadrature). Single values: COMPUTED from the closed forms; the sources of their data stand beside them.
#include "rules/hydraulics/pipe_flow.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/reference/table.h"

namespace driftline::hydraulics {
namespace {

using reference::read_table;

void near_relative(double value, double expected, double share) {
  EXPECT_NEAR(value, expected, std::abs(expected) * share + 1e-20);  // a flow at the very yield stress is rounding
}

TEST(HagenPoiseuille, gives_the_textbook_drop) {
  // A wrong constant would scale every expected flow loss.
  const Pipe pipe{.bore_m = 0.010, .length_m = 10};
  near_relative(newtonian_flow_m3_s(0.2, pipe, 81487.330863), 10e-6, 1e-10);
  near_relative(wall_stress_pa(pipe, 81487.330863), 20.371832716, 1e-10);
  near_relative(pressure_drop_pa({.yield_pa = 0, .consistency_pa_s_n = 0.2, .exponent = 1}, pipe, 10e-6), 81487.330863, 1e-10);
}

TEST(BuckinghamReiner, agrees_with_the_grid_forward_and_back) {
  // The Bingham form is the check of the general one: were it off, so would be the floors and losses of every line.
  const auto table = read_table("buckingham_reiner");
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const double yield = table.number(i, "tau0_Pa");
    const double viscosity = table.number(i, "mu_p_Pas");
    const Pipe pipe{.bore_m = 2 * table.number(i, "R_m"), .length_m = table.number(i, "L_m")};
    const double drop = table.number(i, "dp_Pa");
    const double flow = table.number(i, "Q_m3_s");
    near_relative(wall_stress_pa(pipe, drop), table.number(i, "tau_w_Pa"), 1e-9);
    near_relative(bingham_flow_m3_s(yield, viscosity, pipe, drop), flow, 1e-7);
    near_relative(flow_m3_s({.yield_pa = yield, .consistency_pa_s_n = viscosity, .exponent = 1}, pipe, drop), flow, 1e-7);
    near_relative(plug_radius_m(yield, pipe, drop), table.number(i, "plug_radius_fraction") * pipe.bore_m / 2, 1e-9);
    if (flow > 0)
      near_relative(pressure_drop_pa({.yield_pa = yield, .consistency_pa_s_n = viscosity, .exponent = 1}, pipe, flow), drop, 1e-9);
  }
}

TEST(BuckinghamReiner, solves_a_published_problem) {
  // Data of a public exercise (tau_0 1000 Pa, R 2 mm, L 1 m, mu 0.1 Pa s, Q 2e-7 m3/s; it prints no answer), answer COMPUTED.
  const Pipe pipe{.bore_m = 0.004, .length_m = 1};
  const YieldFluid fluid{.yield_pa = 1000, .consistency_pa_s_n = 0.1, .exponent = 1};
  near_relative(pressure_drop_pa(fluid, pipe, 2e-7), 1041251.7046, 1e-9);
  near_relative(plug_radius_m(1000, pipe, 1041251.7046), 1.920765163e-3, 1e-8);
  EXPECT_EQ(flow_m3_s(fluid, pipe, 1000000), 0);
}

TEST(BuckinghamReiner, agrees_with_the_china_clay_example) {
  // Data from memory (Chhabra and Richardson, Non-Newtonian Flow and Applied Rheology, chapter 3), flow COMPUTED.
  const Pipe pipe{.bore_m = 0.040, .length_m = 200};
  near_relative(flow_m3_s({.yield_pa = 15, .consistency_pa_s_n = 0.15, .exponent = 1}, pipe, 639198.716), 5.226294506e-04, 1e-7);
}

TEST(HerschelBulkley, agrees_with_the_grid_forward_and_back) {
  // Greases are of this kind; a slip in the shape factor would go unseen in the Bingham limit.
  const auto table = read_table("herschel_bulkley");
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const YieldFluid fluid{.yield_pa = table.number(i, "tau0_Pa"),
                           .consistency_pa_s_n = table.number(i, "K_Pas_n"),
                           .exponent = table.number(i, "n")};
    const Pipe pipe{.bore_m = 2 * table.number(i, "R_m"), .length_m = table.number(i, "L_m")};
    const double flow = table.number(i, "Q_m3_s");
    const double drop = table.number(i, "dp_Pa");
    // The table's drops carry twelve digits: just above the yield stress that much moves the flow by 1e-9 of tau/(tau - tau_0).
    near_relative(flow_m3_s(fluid, pipe, drop), flow, 1e-7);
    if (flow > 0) near_relative(pressure_drop_pa(fluid, pipe, flow), drop, 1e-9);
  }
}

TEST(HerschelBulkley, meets_its_limits) {
  // n = 1 is Bingham's body and yield 0 the power law; values COMPUTED both ways.
  const Pipe pipe{.bore_m = 0.008, .length_m = 1};
  const double drop = 300 * 2 / 0.004;
  near_relative(flow_m3_s({.yield_pa = 120, .consistency_pa_s_n = 3, .exponent = 1}, pipe, drop), 2.388615726e-06, 1e-9);
  near_relative(flow_m3_s({.yield_pa = 0, .consistency_pa_s_n = 20, .exponent = 0.5}, pipe, drop), 9.047786842e-06, 1e-9);
}

TEST(HerschelBulkley, finds_the_drop_for_a_flow) {
  // COMPUTED: tau_0 200 Pa, K 50, n 0.4, R 5 mm, L 20 m, 1 cm3/s.
  const Pipe pipe{.bore_m = 0.010, .length_m = 20};
  near_relative(pressure_drop_pa({.yield_pa = 200, .consistency_pa_s_n = 50, .exponent = 0.4}, pipe, 1e-6), 3013588.482, 1e-9);
}

TEST(HeldAtRest, is_what_the_force_balance_gives) {
  // The vent's floor: off by two if radius and bore are mixed up. COMPUTED: 40 bar and 80 bar.
  near_relative(held_at_rest_pa(200, {.bore_m = 0.012, .length_m = 60}), 40e5, 1e-12);
  near_relative(held_at_rest_pa(1000, {.bore_m = 0.010, .length_m = 20}), 80e5, 1e-12);
}

}  // namespace
}  // namespace driftline::hydraulics
