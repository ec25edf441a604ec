#include "gateway/simulate/station.h"

#include <algorithm>
#include <cmath>

#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::simulate {
namespace {

constexpr double day_s = 86400;
constexpr double purged_a_turn = 0.985;  // of the air that is left

}  // namespace

bool in_working_hours(Time from, double at_s) {
  const double hour = std::fmod(static_cast<double>(ms_since_1970(from)) / 3.6e6 + at_s / 3600, 24);
  return hour >= 7 && hour < 16;
}

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
