#include "gateway/simulate/station.h"

#include <algorithm>
#include <cmath>

#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::simulate {
namespace {

constexpr double day_s = 86400;
constexpr double purged_a_turn = 0.985;  // of the air that is left

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

bool in_working_hours(Time from, double at_s) {
  const double hour = std::fmod(static_cast<double>(ms_since_1970(from)) / 3.6e6 + at_s / 3600, 24);
  return hour >= 7 && hour < 16;
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

Station::Station(const PlantPlan& plant, const SitePlan& site, const StationPlan& plan, const Weather& air)
    : plant_(plant),
      plan_(plan),
      machine_(plan),
      sender_(plant, plan_),
      grease_(air.lagged(3, 2)),
      cabinet_(air.lagged(0.7, 1)),
      usual_c_(site.climate.mean_c + 2),
      usual_trend_c_day_(site.climate.trend_c_day),
      rng_(seed_for(plan.seed, "life")) {
  level_pct_ = plan_.start_level_pct;
  take_faults(site);
  std::ranges::sort(plan_.outages, {}, &Outage::from_day);
  std::ranges::sort(plan_.power_cuts, {}, &PowerCut::from_day);
  for (std::size_t i = 0; i < plan_.lines.size(); ++i) {
    venting_[i] = {-3600, 5, machine_.vent(static_cast<int>(i), grease_.air_c(0), Wear{}, 0)};
    if (plan_.people.commissioning_days > 0) air_cm3_[i] = 0.6 * plan_.lines[i].charges_cm3;
  }
  next_turn_s_ = rng_.between(5, plan_.cycle_s / static_cast<double>(plan_.lines.size()));
  next_sample_s_ = rng_.between(0, 1);
  truth_.plan = plan_;
  truth_.from_ms = sender_.station_ms(0);
  if (plan_.sender.presence) sender_.presence(0, true);
  sender_.settings(0.002, settings_at(0));
}

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

Wear Station::wear_at(double at_s) const {
  Wear wear;
  for (const Trouble& trouble : troubles_) {
    const FaultPlan& fault = trouble.truth.plan;
    if (fault.kind == Cause::air_in_line) continue;  // gets in once, settle() purges it
    const double progress = std::min(progress_most, progress_of(fault, at_s / day_s));
    wear_by(wear, fault, trouble.full_severity * progress, plan_);
  }
  for (const SettingsStep& step : plan_.settings_steps)
    if (at_s >= step.at_day * day_s) wear.target_factor *= step.target_factor;
  return wear;
}

Settings Station::settings_at(double at_s) const {
  Settings now{plan_.cycle_s, plan_.pump_limit_s, plan_.target_bar, plan_.residual_bar};
  for (const SettingsStep& step : plan_.settings_steps)
    if (at_s >= step.at_day * day_s) {
      now.target_bar *= step.target_factor;
      now.cycle_s *= step.cycle_factor;
    }
  return now;
}

void Station::run_until(double until_s, std::vector<Message>& out) {
  for (;;) {
    const bool manual = manual_s_ && *manual_s_ < next_turn_s_;
    const double next = manual ? *manual_s_ : next_turn_s_;
    if (next_cut_ < plan_.power_cuts.size() &&
        plan_.power_cuts[next_cut_].from_day * day_s <= std::max(next, now_s_)) {
      const double cut_s = plan_.power_cuts[next_cut_].from_day * day_s;
      if (cut_s >= until_s) break;
      rest_until(cut_s);
      power_cut();
      continue;
    }
    if (next >= until_s) break;
    outside_pressure(next);
    rest_until(next);
    turn(next, manual);
  }
  rest_until(until_s);
  sender_.arrived(until_s, out);
}

void Station::rest_until(double until_s) {
  while (next_sample_s_ < until_s) {
    follow_people(next_sample_s_);
    emit(next_sample_s_);
    next_sample_s_ += next_sample_s_ < fast_until_s_ ? plan_.sender.fast_s : plan_.sender.rest_s;
  }
  now_s_ = std::max(now_s_, until_s);
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

void Station::advance_level(double to_s) {
  if (to_s <= level_s_) return;
  double leak = 0;
  for (const Trouble& trouble : troubles_)
    if (trouble.truth.plan.kind == Cause::reservoir_leak)
      leak +=
          6 * trouble.full_severity * std::min(progress_most, progress_of(trouble.truth.plan, to_s / day_s));
  const double lost = std::min(level_pct_, leak * (to_s - level_s_) / day_s);
  level_pct_ -= lost;
  lowest_today_pct_ = std::min(lowest_today_pct_, level_pct_);
  used_today_pct_ += lost;
  if (refill_) {
    level_pct_ +=
        refill_->pct_s * std::max(0.0, std::min(to_s, refill_->to_s) - std::max(level_s_, refill_->from_s));
    if (to_s >= refill_->to_s) refill_.reset();
  }
  level_pct_ = std::min(level_pct_, 100.0);
  level_s_ = to_s;
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

void Station::turn(double start_s, bool manual) {
  follow_people(start_s);
  advance_level(start_s);
  const std::size_t line = line_;
  const double grease_c = grease_.air_c(start_s);
  Wear wear = wear_at(start_s);
  if (level_pct_ <= plan_.empty_pct) {  // it draws air
    wear.delivery_factor *= 0.35;
    for (std::size_t i = 0; i < plan_.lines.size(); ++i) air_cm3_[i] += 0.1 * plan_.lines[i].charges_cm3;
  }
  for (Trouble& trouble : troubles_)
    if (trouble.truth.plan.kind == Cause::air_in_line && !trouble.over &&
        progress_of(trouble.truth.plan, start_s / day_s) > 0) {
      const auto struck = static_cast<std::size_t>(trouble.truth.plan.line - 1);
      air_cm3_[struck] += trouble.full_severity * plan_.lines[struck].charges_cm3;
      trouble.truth.end_ms = sender_.station_ms(start_s + 10 * day_s);
      trouble.over = true;
    }
  const double residual = venting_[line].bar(start_s);
  const TurnInput input = machine_.turn(static_cast<int>(line), grease_c, wear, air_cm3_[line], residual);
  const TurnResult result = run_turn(input, curve_);

  TurnTruth row;
  row.line = static_cast<int>(line) + 1;
  row.manual = manual;
  row.level_pct = level_pct_;
  row.temp_c = grease_c;
  row.residual_bar = residual;
  double stop_s = start_s + result.stop_s;
  row.outcome = result.reached ? "reached" : "not-reached";
  if (result.reached) row.time_to_pressure_s = result.to_pressure_s;
  if (next_cut_ < plan_.power_cuts.size() && plan_.power_cuts[next_cut_].from_day * day_s < stop_s) {
    stop_s = std::max(start_s + 0.5, plan_.power_cuts[next_cut_].from_day * day_s);
    row.outcome = "interrupted";
    row.why = "power";
    row.time_to_pressure_s.reset();
  }

  shown_ = wear;
  pumping_ = true;
  turn_start_s_ = start_s;
  cursor_ = 0;
  rise_share_ = std::min(0.35, 0.8 * wear.bypass_share);
  const double fast_s = plan_.sender.fast_s;
  int live = 0;
  int late = 0;
  double last_s = start_s;
  const auto take = [&](double at_s) {
    const Delivery delivery = emit(at_s);
    ++row.expected;
    row.seen += delivery != Delivery::lost;
    live += delivery == Delivery::live;
    late += delivery == Delivery::late;
    if (delivery == Delivery::lost) return;
    row.largest_gap_s = std::max(row.largest_gap_s, at_s - last_s);
    last_s = at_s;
  };
  if (plan_.sender.edge) take(start_s);
  next_sample_s_ = std::min(next_sample_s_, start_s + fast_s * rng_.between(0.02, 1));
  if (next_sample_s_ <= start_s) next_sample_s_ = start_s + fast_s;
  for (; next_sample_s_ < stop_s; next_sample_s_ += fast_s) take(next_sample_s_);
  row.largest_gap_s = std::max(row.largest_gap_s, stop_s - last_s);
  row.delivery = late > live ? "late" : row.seen == 0 ? "lost" : "live";
  row.start_ms = sender_.station_ms(start_s);
  row.stop_ms = sender_.station_ms(stop_s);
  for (const ClockStep& step : plan_.clock_steps)
    row.near_clock_step |= std::abs(step.at_day * day_s - start_s) < 600;
  settle(start_s, stop_s, line, result, wear, row);
  if (plan_.sender.edge && row.outcome != std::string_view("interrupted")) emit(stop_s + 0.001);
  if (!manual) {
    const double share_s = settings_at(start_s).cycle_s / static_cast<double>(plan_.lines.size());
    next_turn_s_ = std::max(start_s + share_s + 0.03 * rng_.normal(), stop_s + 5);
    line_ = (line + 1) % plan_.lines.size();
    const double often =
        plan_.people.manual_starts_per_day + (start_s < plan_.people.commissioning_days * day_s ? 20 : 0);
    if (rng_.chance(std::min(0.9, often * share_s / day_s)) && next_turn_s_ - stop_s > 600) {
      manual_s_ = stop_s + (next_turn_s_ - stop_s) * rng_.between(0.35, 0.6);
      line_ = line;  // the changeover valve stays where it is
    }
  } else {
    manual_s_.reset();
    line_ = (line + 1) % plan_.lines.size();
  }
  const double next_s = manual_s_ ? *manual_s_ : next_turn_s_;
  const double vent_s = venting_[line].until_s(settings_at(start_s).residual_bar, next_s - stop_s);
  if (vent_s >= 0) row.vent_s = vent_s;
  note_troubles({row, input, result, wear, start_s, grease_c, row.outcome == std::string_view("not-reached"),
                 row.residual_bar > settings_at(start_s).residual_bar});
  truth_.turns.push_back(row);
}

// The pump stands: vent, use, air.
void Station::settle(double start_s, double stop_s, std::size_t line, const TurnResult& result,
                     const Wear& wear, TurnTruth& row) {
  const double share = result.stop_s > 0 ? std::min(1.0, (stop_s - start_s) / result.stop_s) : 1;
  double bar = 0;
  for (const TurnPoint& point : curve_) {
    if (point.after_s > stop_s - start_s + 1e-6) break;
    bar = point.bar;
    row.peak_bar = std::max(row.peak_bar, point.bar);
  }
  const double grease_c = grease_.air_c(stop_s);
  pumping_ = false;
  for (std::size_t i = 0; i < plan_.lines.size(); ++i)
    if (i != line && rise_share_ > 0)
      venting_[i] = {stop_s, venting_[i].bar(stop_s) + rise_share_ * bar, venting_[i].figures};
  venting_[line] = {stop_s, bar, machine_.vent(static_cast<int>(line), grease_c, wear, air_cm3_[line])};
  row.used_cm3 = (result.dispensed_cm3 + result.leaked_cm3) * share;
  advance_level(stop_s);
  const double used_pct =
      std::min(level_pct_, row.used_cm3 * plan_.density_kg_l / 1000 / plan_.reservoir_kg * 100);
  level_pct_ -= used_pct;
  used_today_pct_ += used_pct;
  air_cm3_[line] *= start_s < plan_.people.commissioning_days * day_s ? 0.93 : purged_a_turn;
  now_s_ = stop_s;
  fast_until_s_ = stop_s + plan_.sender.tail_s;
  if (!refill_ && level_pct_ < plan_.people.refill_under_pct && in_working_hours(plant_.from, stop_s))
    begin_refill(stop_s);
}

Delivery Station::emit(double at_s) {
  advance_level(at_s);
  Reading reading;
  reading.at_s = at_s;
  reading.pump = pumping_;
  reading.line = static_cast<int>(line_) + 1;
  double active = 0;
  if (pumping_) {
    const double after = at_s - turn_start_s_;
    while (cursor_ + 2 < curve_.size() && curve_[cursor_ + 1].after_s < after) ++cursor_;
    const TurnPoint& a = curve_[cursor_];
    const TurnPoint& b = curve_[std::min(cursor_ + 1, curve_.size() - 1)];
    const double span = b.after_s - a.after_s;
    active = span > 0 ? a.bar + std::clamp((after - a.after_s) / span, 0.0, 1.0) * (b.bar - a.bar) : b.bar;
  }
  for (std::size_t i = 0; i < plan_.lines.size(); ++i) {
    double bar =
        pumping_ && i == line_ ? active : venting_[i].bar(at_s) + (pumping_ ? rise_share_ * active : 0);
    reading.bar[i] = bar + shown_.lines[i].offset_bar;
  }
  reading.true_level_pct = level_pct_;
  reading.level_pct = level_pct_;
  if (shown_.level_stuck) {
    if (level_shown_when_stuck_ < 0) level_shown_when_stuck_ = plan_.seed % 3 == 0 ? 0 : level_pct_;
    reading.level_pct = level_shown_when_stuck_;
  } else {
    level_shown_when_stuck_ = -1;
  }
  reading.temp_c = cabinet_.air_c(at_s);
  return sender_.sample(reading);
}

}  // namespace driftline::simulate
