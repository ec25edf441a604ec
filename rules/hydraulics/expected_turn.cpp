#include "rules/hydraulics/expected_turn.h"

#include <algorithm>
#include <cmath>

namespace driftline::hydraulics {
namespace {

constexpr double pa_per_bar = 1e5;
constexpr double m3_per_cm3 = 1e-6;
constexpr int vent_steps = 64;
constexpr double longest_asked_m = 500;  // beyond any feed line

// One line with every gap filled.
struct Known {
  int line = 1;
  double delivery_cm3_s = 0;
  double charges_cm3 = 0;
  double bore_mm = 0;
  double length_m = 0;
  double target_bar = 0;
  double pump_limit_s = 0;
  double residual_bar = 0;
};

Pipe pipe_of(const Known& known) { return {.bore_m = known.bore_mm / 1000, .length_m = known.length_m}; }

LineShape shape_of(const Known& known, const Assumptions& with) {
  LineShape shape{.bore_mm = known.bore_mm, .length_m = known.length_m, .wall_mm = with.wall_mm};
  shape.expansion_cm3_per_m_per_bar = with.hose_expansion_cm3_per_m_per_bar;
  return shape;
}

double taken_cm3(const Known& known, const Assumptions& with, double rise_bar) {
  const LineShape shape = shape_of(known, with);
  const GreaseCompliance grease{.bulk_modulus_bar = with.bulk_modulus_bar,
                                .free_air_cm3 = line_volume_cm3(shape) * with.air_share_pct / 100};
  return volume_taken_cm3(shape, grease, rise_bar);
}

// Of what the pump gives at 20 C.
double filled_share(const Assumptions& with, double temp_c) {
  const double stiffness = fluid_at(with.grease, temp_c).consistency_pa_s_n / fluid_at(with.grease, 20).consistency_pa_s_n;
  return 1 / (1 + with.cold_loss * (stiffness - 1));
}

std::optional<double> vent_time_s(const Known& known, const Assumptions& with, const YieldFluid& fluid, double floor_bar) {
  if (floor_bar >= known.residual_bar || known.residual_bar >= known.target_bar) return std::nullopt;
  double spent_s = 0;
  const double step = std::pow(known.residual_bar / known.target_bar, 1.0 / vent_steps);
  for (double bar = known.target_bar; bar > known.residual_bar * 1.000001; bar *= step) {
    const double middle_bar = bar * std::sqrt(step);
    const double back_cm3_s = flow_m3_s(fluid, pipe_of(known), middle_bar * pa_per_bar) / m3_per_cm3;
    if (back_cm3_s <= 0) return std::nullopt;
    spent_s += (taken_cm3(known, with, bar) - taken_cm3(known, with, bar * step)) / back_cm3_s;
  }
  return spent_s;
}

ExpectedTurn turn_of(const Known& known, const Assumptions& with, double temp_c) {
  const YieldFluid fluid = fluid_at(with.grease, temp_c);
  ExpectedTurn turn;
  turn.line = known.line;
  turn.temp_c = temp_c;
  const double delivery_cm3_s = known.delivery_cm3_s * with.delivered_share * filled_share(with, temp_c);
  turn.delivery_cm3_min = 60 * delivery_cm3_s;
  turn.plateau_s = known.charges_cm3 / delivery_cm3_s;
  turn.flow_drop_bar = pressure_drop_pa(fluid, pipe_of(known), delivery_cm3_s * m3_per_cm3) / pa_per_bar;
  turn.plateau_bar = with.device_opening_bar + turn.flow_drop_bar / 2;
  turn.residual_floor_bar = held_at_rest_pa(fluid.yield_pa, pipe_of(known)) / pa_per_bar;
  turn.devices_served = with.device_opening_bar_max + turn.flow_drop_bar <= known.target_bar;
  turn.vents = turn.residual_floor_bar < known.residual_bar;
  turn.yield_20c_pa = with.grease.yield_20c_pa;
  if (!turn.vents) turn.yield_needed_20c_pa = with.grease.yield_20c_pa * known.residual_bar / turn.residual_floor_bar;
  if (turn.devices_served) {
    const double mean_bar = known.target_bar + turn.flow_drop_bar / 2;
    turn.time_to_pressure_s = (known.charges_cm3 + taken_cm3(known, with, mean_bar)) / delivery_cm3_s;
    turn.in_time = *turn.time_to_pressure_s <= known.pump_limit_s;
  }
  turn.vent_s = vent_time_s(known, with, fluid, turn.residual_floor_bar);
  return turn;
}

// Each of the three conditions fails beyond some length and holds under it.
double longest_line_m(Known known, const Assumptions& with, double temp_c) {
  const auto works_at = [&](double length_m) {
    known.length_m = length_m;
    return turn_of(known, with, temp_c).works();
  };
  double low = 0.1;
  double high = longest_asked_m;
  if (!works_at(low)) return 0;
  if (works_at(high)) return high;
  while (high - low > 0.05) {
    const double middle = (low + high) / 2;
    (works_at(middle) ? low : high) = middle;
  }
  return low;
}

class Gaps {
 public:
  explicit Gaps(Expectation& out) : out_(out) {}

  double or_assumed(std::optional<double> value, double assumed, const std::string& name) {
    if (value && *value > 0) return *value;
    out_.assumed.push_back(name);
    return assumed;
  }
  double or_missing(std::optional<double> value, const std::string& name) {
    if (value && *value > 0) return *value;
    out_.missing.push_back(name);
    return 0;
  }

 private:
  Expectation& out_;
};

}  // namespace

Expectation expected_turns(const StationDesign& design, const std::vector<double>& temps_c, const Assumptions& with) {
  Expectation out;
  Gaps gaps(out);
  Known common;
  common.delivery_cm3_s = gaps.or_missing(design.displacement_cm3_min, "displacement_cm3_min") / 60;
  common.target_bar = gaps.or_assumed(design.settings.target_bar, with.target_bar, "target_bar");
  common.pump_limit_s = gaps.or_assumed(design.settings.pump_limit_s, with.pump_limit_s, "pump_limit_s");
  common.residual_bar = gaps.or_assumed(design.settings.residual_bar, with.residual_bar, "residual_bar");
  if (design.lines.empty()) out.missing.push_back("lines");
  out.target_bar = common.target_bar;
  out.pump_limit_s = common.pump_limit_s;
  out.residual_bar = common.residual_bar;

  std::vector<Known> lines;
  for (std::size_t i = 0; i < design.lines.size(); ++i) {
    const std::string where = "lines/" + std::to_string(i + 1) + "/";
    Known known = common;
    known.line = static_cast<int>(i) + 1;
    known.charges_cm3 = gaps.or_missing(design.lines[i].charges_cm3, where + "charges_cm3");
    known.bore_mm = gaps.or_assumed(design.lines[i].bore_mm, with.bore_mm, where + "bore_mm");
    known.length_m = gaps.or_assumed(design.lines[i].length_m, with.length_m, where + "length_m");
    lines.push_back(known);
  }
  if (!out.missing.empty()) return out;
  for (const Known& known : lines)
    for (const double temp_c : temps_c) {
      out.turns.push_back(turn_of(known, with, temp_c));
      out.turns.back().longest_line_m = longest_line_m(known, with, temp_c);
    }
  return out;
}

}  // namespace driftline::hydraulics
