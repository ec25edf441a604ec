#include "gateway/simulate/machine.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gateway/simulate/rng.h"
#include "rules/hydraulics/pipe_flow.h"

namespace driftline::simulate {
namespace {

constexpr double coldest_c = -45;
constexpr double warmest_c = 60;
constexpr double bulk_modulus_bar = 1.5e4;
constexpr double still_held = 0.55;     // share of the yield floor that stays after minutes of creep
constexpr double worst_severity = 2.5;

double line_volume_cm3(const LinePlan& line) {
  return std::numbers::pi / 4 * line.bore_mm * line.bore_mm / 100 * line.length_m * 100;
}

// How far out a sensor stands decides how much of the held pressure it sees.
double floor_share(const LinePlan& line) { return still_held * (0.12 + 0.88 * line.sensor_at); }

}  // namespace

double progress_of(const FaultPlan& fault, double day) {
  if (day < fault.onset_day || (fault.repaired_day > 0 && day >= fault.repaired_day)) return 0;
  if (fault.form == Form::sudden) return 1;
  const double share = (day - fault.onset_day) / std::max(0.01, fault.life_days);
  return fault.form == Form::linear ? share : share * share * share;
}

void wear_by(Wear& wear, const FaultPlan& fault, double severity, const StationPlan& plan) {
  if (severity <= 0) return;
  LineWear& line = wear.lines[static_cast<std::size_t>(fault.line - 1)];
  switch (fault.kind) {
    case Cause::slow_leak: line.leak_share += severity; break;  // 1: all that the pump gives, at the target
    case Cause::line_broken: line.leak_share += 4 * severity; line.leak_power = 0.5; break;
    case Cause::air_in_line: line.air_cm3 += severity * plan.lines[static_cast<std::size_t>(fault.line - 1)].charges_cm3; break;
    case Cause::pump_worn: wear.delivery_factor *= std::max(0.05, 1 - severity); break;
    case Cause::relief_leaking: wear.relief_share += severity; break;
    case Cause::changeover_leaking: wear.bypass_share += severity; break;
    case Cause::metering_stuck: line.stuck_share += severity; break;
    case Cause::line_restricted: line.restriction_bar += severity * 0.5 * plan.target_bar; break;
    case Cause::vent_restricted:
      line.vent_factor += 12 * severity;
      line.hold_bar += 1.2 * severity * plan.residual_bar;
      break;
    case Cause::pressure_sensor_drift: line.offset_bar += (plan.seed % 2 == 0 ? 25 : -18) * severity; break;
    case Cause::reservoir_leak: wear.reservoir_leak_pct_day += 6 * severity; break;
    case Cause::level_sensor_stuck: wear.level_stuck = true; break;
    case Cause::settings_changed: wear.target_factor *= 1 + 0.12 * severity; break;
    case Cause::stiff_grease:       // the weather's
    case Cause::outside_pressure:   // single events, station.cpp
    case Cause::power_lost:
    case Cause::link_lost: break;
  }
}

Machine::Machine(const StationPlan& plan) : plan_(plan) {
  for (std::size_t i = 0; i < plan_.lines.size(); ++i) {
    const LinePlan& line = plan_.lines[i];
    Rng rng(seed_for(plan_.seed, "devices") + i);
    std::vector<Device> devices(static_cast<std::size_t>(line.devices));
    for (std::size_t d = 0; d < devices.size(); ++d) {
      devices[d].opening_bar = line.opening_bar + line.opening_spread_bar * rng.normal();
      devices[d].at = (static_cast<double>(d) + rng.uniform()) / static_cast<double>(devices.size());
      devices[d].charge_cm3 = line.charges_cm3 / line.devices;
    }
    std::vector<double> order(devices.size());
    for (double& o : order) o = rng.uniform();
    for (std::size_t d = 0; d < devices.size(); ++d) {
      const auto before = std::ranges::count_if(order, [&](double o) { return o < order[d]; });
      devices[d].stuck_from = (static_cast<double>(before) + 1) / static_cast<double>(devices.size());
    }
    devices_.push_back(std::move(devices));

    const hydraulics::Pipe pipe{.bore_m = line.bore_mm / 1000, .length_m = line.length_m};
    const double base = hydraulics::fluid_at(plan_.grease, 20).consistency_pa_s_n;
    std::vector<AtTemperature> table;
    for (double c = coldest_c; c <= warmest_c; c += 1) {
      const auto fluid = hydraulics::fluid_at(plan_.grease, c);
      table.push_back({hydraulics::pressure_drop_pa(fluid, pipe, plan_.delivery_cm3_min / 60 * 1e-6) / 1e5,
                       hydraulics::held_at_rest_pa(fluid.yield_pa, pipe) / 1e5, fluid.consistency_pa_s_n / base});
    }
    table_.push_back(std::move(table));
  }
}

Machine::AtTemperature Machine::at(std::size_t line, double grease_c) const {
  const double place = std::clamp(grease_c, coldest_c, warmest_c - 1.01) - coldest_c;
  const auto i = static_cast<std::size_t>(place);
  const double part = place - static_cast<double>(i);
  const AtTemperature& a = table_[line][i];
  const AtTemperature& b = table_[line][i + 1];
  return {a.drop_bar + part * (b.drop_bar - a.drop_bar), a.floor_bar + part * (b.floor_bar - a.floor_bar),
          a.stiffness + part * (b.stiffness - a.stiffness)};
}

TurnInput Machine::turn(int line, double grease_c, const Wear& wear, double air_cm3, double start_bar) const {
  const auto i = static_cast<std::size_t>(line);
  const LinePlan& built = plan_.lines[i];
  const LineWear& worn = wear.lines[i];
  const AtTemperature now = at(i, grease_c);
  TurnInput in;
  const double suction = 1 / (1 + plan_.suction_loss * (now.stiffness - 1));
  in.delivery_cm3_s = plan_.delivery_cm3_min / 60 * wear.delivery_factor * suction;
  in.drop_bar = now.drop_bar * (0.4 + 0.6 * std::sqrt(wear.delivery_factor * suction));
  in.compliance_cm3_bar = line_volume_cm3(built) / bulk_modulus_bar + built.expansion_cm3_per_m_per_bar * built.length_m;
  in.air_cm3 = built.free_air_cm3 + air_cm3;
  in.devices = &devices_[i];
  in.stuck_share = worn.stuck_share;
  in.target_bar = plan_.target_bar * wear.target_factor;
  in.leak_cm3_s = worn.leak_share * plan_.delivery_cm3_min / 60;
  in.leak_power = worn.leak_power;
  in.bypass_cm3_s = wear.bypass_share * plan_.delivery_cm3_min / 60;
  in.relief_bar = plan_.relief_bar - wear.relief_share * (plan_.relief_bar - 0.92 * plan_.target_bar);
  in.restriction_bar = worn.restriction_bar;
  in.start_bar = start_bar;
  in.sensor_at = built.sensor_at;
  in.sensor_offset_bar = worn.offset_bar;
  in.pump_limit_s = plan_.pump_limit_s;
  return in;
}

VentFigures Machine::vent(int line, double grease_c, const Wear& wear, double air_cm3) const {
  const auto i = static_cast<std::size_t>(line);
  const LinePlan& built = plan_.lines[i];
  const LineWear& worn = wear.lines[i];
  const AtTemperature now = at(i, grease_c);
  const double by_air = 1 + air_cm3 / std::max(5.0, built.charges_cm3);
  const double constant = plan_.vent_constant_s * std::pow(now.stiffness, 1.3) * worn.vent_factor * by_air;
  return {.constant_s = 1 / (1 / constant + worn.leak_share / 60),
          .floor_bar = now.floor_bar * floor_share(built) + worn.hold_bar};
}

double Machine::severity_to_fail(const FaultPlan& fault, double grease_c) const {
  std::vector<TurnPoint> curve;
  const auto fails = [&](double severity) {
    Wear wear;
    wear_by(wear, fault, severity, plan_);
    for (int line = 0; line < static_cast<int>(plan_.lines.size()); ++line) {
      const VentFigures vent_figures = vent(line, grease_c, wear, 0);
      const double rest_s = plan_.cycle_s - 120;
      const double held = Venting{0, plan_.target_bar, vent_figures}.bar(rest_s);
      if (held > plan_.residual_bar) return true;
      if (!run_turn(turn(line, grease_c, wear, wear.lines[static_cast<std::size_t>(line)].air_cm3, held), curve).reached) return true;
    }
    return false;
  };
  if (fails(0) || !fails(worst_severity)) return 0;
  double low = 0;
  double high = worst_severity;
  for (int i = 0; i < 24; ++i) {
    const double middle = (low + high) / 2;
    (fails(middle) ? high : low) = middle;
  }
  return high;
}

double Venting::bar(double at_s) const {
  const double after = std::max(0.0, at_s - from_s);
  const double above = from_bar - figures.floor_bar;
  if (above <= 0) return from_bar;
  return figures.floor_bar +
         above * (0.7 * std::exp(-after / figures.constant_s) + 0.3 * std::exp(-after / (4 * figures.constant_s)));
}

double Venting::until_s(double limit_bar, double within_s) const {
  if (bar(from_s) <= limit_bar) return 0;
  if (bar(from_s + within_s) > limit_bar) return -1;
  double low = 0;
  double high = within_s;
  for (int i = 0; i < 40; ++i) {
    const double middle = (low + high) / 2;
    (bar(from_s + middle) > limit_bar ? low : high) = middle;
  }
  return high;
}

}  // namespace driftline::simulate
