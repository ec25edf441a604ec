// What befalls a station: faults, repairs, refills, power cuts, a grease gun.
#include <algorithm>
#include <cmath>

#include "gateway/simulate/station.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::simulate {
namespace {

constexpr double day_s = 86400;

bool strikes_all(Cause kind) {
  switch (kind) {
    case Cause::stiff_grease:
    case Cause::pump_worn:
    case Cause::relief_leaking:
    case Cause::changeover_leaking:
    case Cause::reservoir_leak:
    case Cause::level_sensor_stuck:
    case Cause::settings_changed:
    case Cause::power_lost:
    case Cause::link_lost:
      return true;
    case Cause::line_broken:
    case Cause::slow_leak:
    case Cause::air_in_line:
    case Cause::metering_stuck:
    case Cause::line_restricted:
    case Cause::vent_restricted:
    case Cause::outside_pressure:
    case Cause::pressure_sensor_drift:
      return false;
  }
  return false;
}

// Severity of full progress where no turn ever fails by it.
double default_severity(Cause kind) {
  return kind == Cause::metering_stuck ? 0.6 : kind == Cause::air_in_line ? 0.8 : 1.0;
}

std::string_view form_text(Form form) {
  switch (form) {
    case Form::sudden:
      return "sudden";
    case Form::linear:
      return "linear";
    case Form::accelerating:
      return "accelerating";
  }
  return "";
}

}  // namespace

void Station::take_faults(const SitePlan& site) {
  std::vector<FaultPlan> faults = plan_.faults;
  for (const ColdSpell& spell : site.climate.cold_spells)
    faults.push_back({.kind = Cause::stiff_grease,
                      .form = Form::sudden,
                      .onset_day = spell.from_day,
                      .life_days = spell.days,
                      .repaired_day = spell.from_day + spell.days + 1});
  for (const FaultPlan& fault : faults) {
    Trouble trouble;
    trouble.truth.plan = fault;
    trouble.truth.form = fault.kind == Cause::stiff_grease ? "cold-spell" : form_text(fault.form);
    trouble.truth.whole_station = strikes_all(fault.kind) || plan_.lines.size() == 1;
    for (int line = 1; line <= static_cast<int>(plan_.lines.size()); ++line)
      if (strikes_all(fault.kind) || line == fault.line) trouble.truth.lines.push_back(line);
    const double end_c = grease_.air_c((fault.onset_day + fault.life_days) * day_s);
    double fails_at = machine_.severity_to_fail(fault, end_c);
    if (fails_at <= 0) fails_at = default_severity(fault.kind);
    trouble.truth.severity_to_fail = fails_at;
    trouble.full_severity = fails_at;
    if (fault.form == Form::sudden) {
      Rng draw(seed_for(plan_.seed, "severity"));
      const double share = fault.severity > 0 ? fault.severity : draw.between(0.35, 0.8);
      trouble.full_severity =
          fault.kind == Cause::line_broken || fault.kind == Cause::settings_changed ? 1 : fails_at * share;
    }
    trouble.truth.onset_ms = sender_.station_ms(fault.onset_day * day_s);
    if (fault.kind == Cause::power_lost || fault.kind == Cause::link_lost ||
        (fault.kind == Cause::level_sensor_stuck && plan_.sender.level))
      trouble.truth.visible_ms = trouble.truth.onset_ms;
    if (fault.kind == Cause::power_lost) plan_.power_cuts.push_back({fault.onset_day, fault.life_days * 24});
    if (fault.kind == Cause::link_lost)
      plan_.outages.push_back({fault.onset_day, fault.life_days * 24, OutageKind::lost});
    if (fault.kind == Cause::power_lost || fault.kind == Cause::link_lost ||
        fault.kind == Cause::outside_pressure)
      trouble.truth.plan.repaired_day = fault.onset_day + fault.life_days;
    troubles_.push_back(std::move(trouble));
  }
}

void Station::follow_people(double at_s) {
  while (at_s >= day_end_s_) {
    advance_level(day_end_s_);
    truth_.days.push_back(
        {rfc3339_date(plant_.from + std::chrono::milliseconds(std::llround((day_end_s_ - 1) * 1000))),
         level_pct_, used_today_pct_, lowest_today_pct_, 0, false});
    used_today_pct_ = 0;
    lowest_today_pct_ = level_pct_;
    day_end_s_ += day_s;
  }
  for (Trouble& trouble : troubles_)
    if (!trouble.over && trouble.truth.plan.repaired_day > 0 &&
        at_s >= trouble.truth.plan.repaired_day * day_s)
      repair(trouble, at_s);
  while (next_step_ < plan_.settings_steps.size() &&
         at_s >= plan_.settings_steps[next_step_].at_day * day_s) {
    sender_.settings(at_s, settings_at(at_s));
    const std::int64_t ms = sender_.station_ms(at_s);
    truth_.settings_changes.push_back({ms, ms, "announced"});
    truth_.explained.push_back({ms - 3600000,
                                ms + 3 * 86400000LL,
                                {"slow-to-pressure", "quick-to-pressure", "peak-shift", "slow-vent",
                                 "missed-turn", "grease-use-shift", "short-reservoir-life"},
                                "settings were changed and announced"});
    ++next_step_;
  }
}

void Station::repair(Trouble& trouble, double at_s) {
  trouble.over = true;
  const FaultPlan& fault = trouble.truth.plan;
  trouble.truth.end_ms = sender_.station_ms(at_s);
  if (fault.kind == Cause::stiff_grease || fault.kind == Cause::power_lost ||
      fault.kind == Cause::link_lost || fault.kind == Cause::outside_pressure)
    return;
  if (!strikes_all(fault.kind))
    air_cm3_[static_cast<std::size_t>(fault.line - 1)] +=
        0.08 * plan_.lines[static_cast<std::size_t>(fault.line - 1)].charges_cm3;
  if (fault.told) sender_.service(at_s, at_s, "repaired", strikes_all(fault.kind) ? 0 : fault.line);
  const std::int64_t ms = sender_.station_ms(at_s);
  truth_.repairs.push_back({ms, ms, std::string(name_of(fault.kind))});
}

void Station::begin_refill(double at_s) {
  Refill refill;
  refill.from_s = at_s + rng_.between(60, 1500);
  refill.to_s = refill.from_s + rng_.between(200, 700);
  const double to_pct = rng_.between(78, 97);
  refill.pct_s = std::max(0.0, to_pct - level_pct_) / (refill.to_s - refill.from_s);
  refill_ = refill;
  const bool told = rng_.chance(plan_.people.refill_told);
  truth_.refills.push_back(
      {sender_.station_ms(refill.from_s), sender_.station_ms(refill.to_s), level_pct_, to_pct, told});
  if (told) sender_.service(at_s, at_s, "refilled", 0);
}

void Station::power_cut() {
  const PowerCut& cut = plan_.power_cuts[next_cut_++];
  const double from_s = cut.from_day * day_s;
  const double end_s = from_s + cut.hours * 3600;
  truth_.power_cuts.push_back(
      {sender_.station_ms(from_s), sender_.station_ms(end_s), cut.hours < 0.1 ? "restart" : "power"});
  if (plan_.sender.presence && cut.hours * 3600 > 45) sender_.presence(from_s + 45, false);
  sender_.restarted();
  sender_.presence(end_s, true);
  sender_.settings(end_s + 0.3, settings_at(end_s));
  now_s_ = end_s;
  next_sample_s_ = std::max(next_sample_s_, end_s + 1);
  next_turn_s_ = std::max(next_turn_s_, end_s + rng_.between(20, 60));
  if (manual_s_ && *manual_s_ < next_turn_s_) manual_s_.reset();
}

// Somebody at a line with a grease gun, shortly before its turn.
void Station::outside_pressure(double turn_s) {
  for (const Trouble& trouble : troubles_) {
    const FaultPlan& fault = trouble.truth.plan;
    if (fault.kind != Cause::outside_pressure || progress_of(fault, turn_s / day_s) <= 0) continue;
    const auto line = static_cast<std::size_t>(fault.line - 1);
    if (line != line_ || !in_working_hours(plant_.from, turn_s) || !rng_.chance(0.35)) continue;
    const double at_s = turn_s - rng_.between(30, 240);
    if (at_s <= now_s_ + 1) continue;
    rest_until(at_s);
    const double spike = plan_.residual_bar * rng_.between(1.5, 3.5);
    venting_[line] = {at_s, venting_[line].bar(at_s) + spike, {2500, venting_[line].figures.floor_bar}};
  }
}

}  // namespace driftline::simulate
