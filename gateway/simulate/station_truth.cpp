// What a station's turns show of its faults, and the truth that is written of them. The definitions stand in
// truth.h.
#include <algorithm>
#include <cmath>
#include <map>

#include "gateway/simulate/station.h"

namespace driftline::simulate {
namespace {

constexpr double day_s = 86400;
constexpr std::int64_t hour_ms = 3600000;
constexpr double purge_days = 10;  // air that got in shows for about this long
constexpr double share_served_least = 0.67;
constexpr double leak_pct_day = 6;  // of a reservoir leak at severity 1 (machine.cpp)

bool turns_show(Cause kind) {
  switch (kind) {
    case Cause::power_lost:
    case Cause::link_lost:
    case Cause::level_sensor_stuck:
    case Cause::reservoir_leak:
    case Cause::outside_pressure:
    case Cause::settings_changed:
      return false;
    case Cause::line_broken:
    case Cause::slow_leak:
    case Cause::air_in_line:
    case Cause::stiff_grease:
    case Cause::pump_worn:
    case Cause::relief_leaking:
    case Cause::changeover_leaking:
    case Cause::metering_stuck:
    case Cause::line_restricted:
    case Cause::vent_restricted:
    case Cause::pressure_sensor_drift:
      return true;
  }
  return true;
}

}  // namespace

double Station::reserve_taken_by_cold(const Seen& seen) {
  const int line = seen.row.line - 1;
  const double rest_s = std::max(60.0, plan_.cycle_s - plan_.pump_limit_s);
  const double held = Venting{0, plan_.target_bar, machine_.vent(line, seen.grease_c, Wear{}, 0)}.bar(rest_s);
  const TurnResult alone = run_turn(machine_.turn(line, seen.grease_c, Wear{}, 0, held), other_curve_);
  const double time = alone.reached ? alone.to_pressure_s / plan_.pump_limit_s : 2;
  return std::max(time, held / settings_at(seen.at_s).residual_bar);
}

// Beside the same turn without this wear (in a cold spell: at the season's usual temperature).
bool Station::shows(const Trouble& trouble, const Seen& seen) {
  const FaultPlan& fault = trouble.truth.plan;
  const double day = seen.at_s / day_s;
  const bool cold = fault.kind == Cause::stiff_grease;
  const double usual_c = cold ? usual_c_ + usual_trend_c_day_ * day : seen.grease_c;
  const auto line = static_cast<std::size_t>(seen.row.line - 1);
  const double offset_bar = seen.wear.lines[line].offset_bar;
  Wear without;
  without.target_factor = fault.kind == Cause::settings_changed
                              ? seen.wear.target_factor / (1 + 0.12 * trouble.full_severity)
                              : seen.wear.target_factor;
  const TurnInput healthy =
      machine_.turn(static_cast<int>(line), usual_c, without, 0, std::min(seen.input.start_bar, 3.0));
  const TurnResult usual = run_turn(healthy, other_curve_);
  const double wider = cold ? 3 : 1;
  const VentFigures vent_now =
      machine_.vent(static_cast<int>(line), seen.grease_c, seen.wear, air_cm3_[line]);
  const VentFigures vent_usual = machine_.vent(static_cast<int>(line), usual_c, without, 0);
  return usual.reached != seen.result.reached ||
         std::abs(seen.result.to_pressure_s - usual.to_pressure_s) > 0.03 * wider * usual.to_pressure_s ||
         std::abs(seen.row.peak_bar + offset_bar - usual.peak_bar) > 2 * wider || std::abs(offset_bar) > 1 ||
         std::abs(vent_now.constant_s / vent_usual.constant_s - 1) > 0.15 * wider ||
         vent_now.floor_bar > vent_usual.floor_bar + 1.5 * wider;
}

void Station::note_harm(Trouble& trouble, const Seen& seen) {
  if (trouble.truth.harm_ms) return;
  const Cause kind = trouble.truth.plan.kind;
  const double served =
      static_cast<double>(seen.result.moved) / std::max(1, seen.result.moved + seen.result.not_moved);
  const bool mine = std::ranges::find(trouble.truth.lines, seen.row.line) != trouble.truth.lines.end();
  if (mine && (kind == Cause::metering_stuck || kind == Cause::line_restricted) &&
      served < share_served_least)
    trouble.truth.harm_ms = seen.row.stop_ms;
  if (kind != Cause::reservoir_leak || level_pct_ > plan_.empty_pct) return;
  trouble.truth.harm_ms = seen.row.stop_ms;
  if (!trouble.truth.own_failure_ms) {
    trouble.truth.own_failure_ms = seen.row.stop_ms;
    trouble.truth.own_failure_how = "dry";
  }
}

void Station::note_troubles(const Seen& seen) {
  const std::int64_t ms = seen.row.stop_ms;
  if (seen.failed || seen.held)
    truth_.own_failures.push_back({ms, ms, seen.failed ? "not-reached" : "residual"});
  hardest_[static_cast<std::int64_t>(seen.at_s / day_s)] =
      std::max(hardest_[static_cast<std::int64_t>(seen.at_s / day_s)],
               seen.failed ? 2 : seen.row.time_to_pressure_s.value_or(0) / plan_.pump_limit_s);
  bool blamed = false;
  for (Trouble& trouble : troubles_) {
    const FaultPlan& fault = trouble.truth.plan;
    const double day = seen.at_s / day_s;
    const bool purging =
        fault.kind == Cause::air_in_line && day >= fault.onset_day && day < fault.onset_day + purge_days;
    if (progress_of(fault, day) <= 0 && !purging) continue;
    const bool cold = fault.kind == Cause::stiff_grease;
    const double taken = cold ? reserve_taken_by_cold(seen) : 0;
    if (cold && taken >= cold_counts_share) trouble.reserve_spent |= shows(trouble, seen);
    blamed |=
        trouble.truth.own_failure_ms.has_value();  // what fails by one fault is not laid at another's door
    const bool by_it = cold ? taken > 1 : fault.kind != Cause::outside_pressure;
    if ((seen.failed || seen.held) && by_it && !blamed && !trouble.truth.own_failure_ms) {
      trouble.truth.own_failure_ms = ms;
      trouble.truth.own_failure_how = seen.failed ? "not-reached" : "residual";
      blamed = true;
    }
    note_harm(trouble, seen);
    if (trouble.truth.visible_ms ||
        std::ranges::find(trouble.truth.lines, seen.row.line) == trouble.truth.lines.end())
      continue;
    bool visible = false;
    if (fault.kind == Cause::reservoir_leak)
      visible =
          (day - fault.onset_day) * leak_pct_day * trouble.full_severity * progress_of(fault, day) > 1.0;
    else if (fault.kind == Cause::outside_pressure)
      visible = seen.held;
    else
      visible = shows(trouble, seen);
    if (visible) trouble.truth.visible_ms = ms;
  }
}

// A gradual fault that was repaired first, or outlasts the recording: when the station would have failed had
// nobody acted.
std::optional<std::int64_t> Station::failure_if_left(const Trouble& trouble) {
  FaultPlan fault = trouble.truth.plan;
  fault.repaired_day = 0;
  const double onset_s = fault.onset_day * day_s;
  if (fault.form == Form::sudden || !turns_show(fault.kind)) return std::nullopt;
  const double step_s = std::max(plan_.cycle_s, 3600.0);
  const double done_s = trouble.over ? trouble.truth.plan.repaired_day * day_s : now_s_;
  for (double at_s = done_s; at_s < onset_s + 1.5 * fault.life_days * day_s; at_s += step_s) {
    Wear wear;
    wear_by(wear, fault, trouble.full_severity * std::min(progress_most, progress_of(fault, at_s / day_s)),
            plan_);
    for (const int line : trouble.truth.lines) {
      const double held =
          Venting{0, plan_.target_bar, machine_.vent(line - 1, grease_.air_c(at_s), wear, 0)}.bar(
              plan_.cycle_s - 120);
      if (held > plan_.residual_bar ||
          !run_turn(machine_.turn(line - 1, grease_.air_c(at_s), wear, 0, held), other_curve_).reached)
        return sender_.station_ms(at_s);
    }
  }
  return std::nullopt;
}

void Station::tell_lives() {
  auto& days = truth_.days;
  for (std::size_t i = 0; i < days.size(); ++i) {
    double left = days[i].level_pct - plan_.empty_pct;
    double life = 0;
    std::size_t k = i + 1;
    for (; k < days.size() && left > days[k].use_pct; ++k) {
      left -= days[k].use_pct;
      life += 1;
    }
    double use = k < days.size() ? days[k].use_pct : 0;
    if (k >= days.size()) {
      const std::size_t n = std::min<std::size_t>(7, days.size());
      for (std::size_t b = days.size() - n; b < days.size(); ++b)
        use += days[b].use_pct / static_cast<double>(n);
    }
    days[i].life_known = use > 0.01;
    days[i].life_days = use > 0.01 ? std::max(0.0, life + left / use) : 0;
  }
}

void Station::explain_near_limits() {
  for (const auto& [day, share] : hardest_)
    if (share >= near_limit_share)
      truth_.explained.push_back({truth_.from_ms + day * 24 * hour_ms,
                                  truth_.from_ms + (day + 2) * 24 * hour_ms,
                                  {"slow-to-pressure"},
                                  "close to the station's own limit"});
}

void Station::explain() {
  const std::int64_t grace = static_cast<std::int64_t>(plan_.cycle_s * 2000) + 3 * hour_ms;
  for (const Interval& cut : truth_.power_cuts)
    truth_.explained.push_back({cut.from_ms, cut.to_ms + grace, {"station-silent", "missed-turn"}, cut.what});
  for (const Outage& outage : plan_.outages) {
    const Interval gap{sender_.station_ms(outage.from_day * day_s),
                       sender_.station_ms(outage.from_day * day_s + outage.hours * 3600),
                       outage.kind == OutageKind::lost      ? "lost"
                       : outage.kind == OutageKind::batched ? "batched"
                                                            : "backfilled"};
    truth_.link_outages.push_back(gap);
    truth_.explained.push_back(
        {gap.from_ms, gap.to_ms + grace, {"station-silent", "missed-turn"}, "link outage"});
  }
  for (const Interval& failure : truth_.own_failures)
    truth_.explained.push_back({failure.from_ms - hour_ms / 60,
                                failure.from_ms + 24 * hour_ms,
                                {failure.what == "residual" ? "residual-pressure" : "pressure-not-reached"},
                                "the station itself failed"});
  explain_near_limits();
  std::int64_t day_ms = truth_.from_ms;
  for (const DayTruth& day : truth_.days) {
    day_ms += 24 * hour_ms;
    // At its lowest, by what is to come or by the day's own use: nobody knows of the power cut that will
    // stretch it.
    const double a_day = std::max(0.01, day.use_pct);
    const double shortest_days = std::min(day.life_days - (day.level_pct - day.lowest_pct) / a_day,
                                          (day.lowest_pct - plan_.empty_pct) / a_day);
    if (day.life_known && std::min(day.life_days, shortest_days) < 15)
      truth_.explained.push_back({day_ms - 24 * hour_ms,
                                  day_ms + 12 * hour_ms,
                                  {"short-reservoir-life"},
                                  "the reservoir lasts two weeks or less"});
    if (day.lowest_pct < plan_.low_pct + 2)
      truth_.explained.push_back(
          {day_ms - 24 * hour_ms, day_ms + 12 * hour_ms, {"reservoir-low"}, "the reservoir is low"});
  }
}

StationTruth Station::take_truth() {
  truth_.to_ms = sender_.station_ms(now_s_);
  truth_.samples = sender_.samples();
  truth_.malformed = std::move(sender_.malformed());
  for (const ClockStep& step : plan_.clock_steps) {
    const std::int64_t at = sender_.station_ms(step.at_day * day_s - 0.001);
    truth_.clock_steps.push_back({at, at + std::llround(step.step_s * 1000), "step"});
  }
  tell_lives();
  explain();
  for (Trouble& trouble : troubles_) {
    FaultTruth& fault = trouble.truth;
    if (fault.onset_ms >= truth_.to_ms) continue;
    if (fault.plan.kind == Cause::stiff_grease && !trouble.reserve_spent) continue;
    if (!fault.own_failure_ms)
      if (const auto ms = failure_if_left(trouble)) {
        fault.own_failure_ms = *ms;
        fault.own_failure_how = "if-left";
      }
    truth_.faults.push_back(fault);
  }
  return std::move(truth_);
}

}  // namespace driftline::simulate
