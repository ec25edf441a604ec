#include "rules/hydraulics/pipe_flow.h"

#include <cmath>
#include <numbers>

#include "rules/records/require.h"

namespace driftline::hydraulics {
namespace {

double radius_m(const Pipe& pipe) {
  require(pipe.bore_m > 0 && pipe.length_m > 0, "a pipe has a bore and a length");
  return pipe.bore_m / 2;
}

double flow_at_stress(const YieldFluid& fluid, double radius, double stress) {
  if (stress <= fluid.yield_pa) return 0;
  const double n = fluid.exponent;
  const double over = stress - fluid.yield_pa;
  const double shape = over * over / (1 + 3 * n) + 2 * fluid.yield_pa * over / (1 + 2 * n) + fluid.yield_pa * fluid.yield_pa / (1 + n);
  return std::numbers::pi * n * std::pow(radius, 3) * std::pow(over, 1 + 1 / n) /
         (std::pow(fluid.consistency_pa_s_n, 1 / n) * std::pow(stress, 3)) * shape;
}

}  // namespace

double wall_stress_pa(const Pipe& pipe, double drop_pa) { return radius_m(pipe) * drop_pa / (2 * pipe.length_m); }

double newtonian_flow_m3_s(double viscosity_pa_s, const Pipe& pipe, double drop_pa) {
  return std::numbers::pi * std::pow(radius_m(pipe), 4) * drop_pa / (8 * viscosity_pa_s * pipe.length_m);
}

double bingham_flow_m3_s(double yield_pa, double plastic_viscosity_pa_s, const Pipe& pipe, double drop_pa) {
  const double stress = wall_stress_pa(pipe, drop_pa);
  if (stress <= yield_pa) return 0;
  const double phi = yield_pa / stress;
  return std::numbers::pi * std::pow(radius_m(pipe), 3) * stress / (4 * plastic_viscosity_pa_s) *
         (1 - 4.0 / 3.0 * phi + std::pow(phi, 4) / 3);
}

double flow_m3_s(const YieldFluid& fluid, const Pipe& pipe, double drop_pa) {
  require(fluid.exponent > 0 && fluid.consistency_pa_s_n > 0 && fluid.yield_pa >= 0, "a fluid resists");
  require(drop_pa >= 0, "the drop is counted downstream");
  return flow_at_stress(fluid, radius_m(pipe), wall_stress_pa(pipe, drop_pa));
}

double pressure_drop_pa(const YieldFluid& fluid, const Pipe& pipe, double flow) {
  require(flow >= 0, "the flow is counted downstream");
  const double radius = radius_m(pipe);
  double low = fluid.yield_pa;
  if (flow <= 0) return low * 2 * pipe.length_m / radius;
  double high = low + fluid.consistency_pa_s_n;
  while (flow_at_stress(fluid, radius, high) < flow) high = low + 2 * (high - low);
  // Flow grows with stress: halve until the interval is as narrow as doubles allow.
  for (int i = 0; i < 200 && high - low > 1e-13 * high; ++i) {
    const double middle = (low + high) / 2;
    (flow_at_stress(fluid, radius, middle) < flow ? low : high) = middle;
  }
  return (low + high) / 2 * 2 * pipe.length_m / radius;
}

double plug_radius_m(double yield_pa, const Pipe& pipe, double drop_pa) {
  const double stress = wall_stress_pa(pipe, drop_pa);
  return stress <= yield_pa ? radius_m(pipe) : radius_m(pipe) * yield_pa / stress;
}

double held_at_rest_pa(double yield_pa, const Pipe& pipe) { return 2 * pipe.length_m * yield_pa / radius_m(pipe); }

}  // namespace driftline::hydraulics
