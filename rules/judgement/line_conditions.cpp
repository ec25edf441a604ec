#include "rules/judgement/line_conditions.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/judgement/evidence.h"

namespace driftline::rules {
namespace {

constexpr double time_calm_share = 0.5;  // a shift under this share of the smallest that matters is calm

struct Outlook {
  Forecast forecast;
  Urgency urgency = Urgency::notice;
};

Urgency urgency_of(const Forecast& forecast, Time now, const Thresholds& t) {
  if (!forecast.limit_at) return Urgency::notice;
  const double middle = days_between(now, *forecast.limit_at);
  const double early = days_between(now, *forecast.limit_at_earliest);
  if (early <= t.act_days && middle <= 2 * t.act_days) return Urgency::act;
  return middle <= t.plan_days || early <= t.plan_days / 2 ? Urgency::plan : Urgency::notice;
}

Condition condition_of(LineIssue issue) {
  constexpr std::array<Condition, line_issue_count> conditions{
      Condition::slow_to_pressure, Condition::quick_to_pressure, Condition::pressure_not_reached, Condition::peak_shift,
      Condition::residual_pressure, Condition::slow_vent, Condition::missed_turn, Condition::doubtful_sensor};
  return conditions[static_cast<std::size_t>(issue)];
}

// True when something already open says the same.
bool explained(const StationState& state, const LineState& line, LineIssue issue) {
  const auto on = [&](LineIssue other) { return is_on(line, other); };
  switch (issue) {
    case LineIssue::slow: return on(LineIssue::not_reached) || on(LineIssue::sensor) || state.slow.on || on(LineIssue::residual) || on(LineIssue::vent);
    case LineIssue::quick: return on(LineIssue::not_reached) || on(LineIssue::sensor) || state.quick.on || on(LineIssue::residual) || on(LineIssue::vent) || on(LineIssue::slow);
    case LineIssue::peak:
    case LineIssue::vent:
    case LineIssue::residual:
      for (const LineIssue other : {LineIssue::slow, LineIssue::quick, LineIssue::not_reached, LineIssue::sensor, LineIssue::vent, LineIssue::residual, LineIssue::peak})
        if (other != issue && on(other)) return true;
      return state.slow.on || state.quick.on;
    case LineIssue::not_reached:
    case LineIssue::missed:
    case LineIssue::sensor: return false;
  }
  return false;
}

FigureShift shift_row(const char* figure, double value, const std::optional<ChartedFigure>& f, bool logarithm, double scale,
                      std::optional<double> limit, const DriftChart& chart, bool up) {
  FigureShift s;
  s.figure = figure;
  s.value = value;
  s.limit = limit;
  if (f && f->learnt) {
    s.usual = logarithm ? std::exp(f->expected.value) * scale : f->expected.value * scale;
    s.spread = logarithm ? f->expected.deviation * *s.usual : f->expected.deviation * scale;
    // Smoothed: the usual at the present temperature with the shift of the last turns on it.
    s.value = logarithm ? *s.usual * std::exp(shift_of(chart)) : *s.usual + shift_of(chart) * scale;
  }
  const ChartSide& side = up ? chart.up : chart.down;
  s.since = side.since;
  s.turns = std::max(1, std::min(side.turns, 6));
  return s;
}

Forecast time_forecast(const LineState& line, const Turn& turn) {
  if (!turn.settings.pump_limit_s || !turn.figures.time || !(line.expected_weight > 0)) return {};
  const double mean = double{line.expected_mean} / double{line.expected_weight};
  const double square = double{line.expected_square} / double{line.expected_weight};
  const double weather = std::sqrt(std::max(0.0, square - mean * mean));
  const Expectation& e = turn.figures.time->expected;
  const double limit = std::log(*turn.settings.pump_limit_s) - mean;
  // The limit is met first on a cold hour: by about 0.8 deviations of the weather's part earlier than on average.
  return forecast(line.wear,
                  {.share_of_flow = true, .limit_shift = std::max(0.0, limit - 0.8 * weather),
                   .limit_deviation = std::max(0.01, 0.5 * weather), .lasting_deviation = e.lasting_deviation,
                   .wander = 0.006},
                  turn.time);
}

struct Verdict {
  Opinion opinion;
  FigureShift shift;
  Forecast forecast;
  std::string reason;
};

void report(Held& held, LineIssue issue, std::optional<int> line_number, const Verdict& v, const Turn& turn,
            std::vector<WeightedCause> causes, std::vector<Judgement>& out, int calm_needed = calm_turns_to_clear) {
  const Step step = settle(held, v.opinion, turn.time, calm_needed);
  if (step == Step::nothing) return;
  Finding finding;
  finding.condition = condition_of(issue);
  finding.line = line_number;
  finding.time = turn.time;
  finding.holds = step != Step::let_go;
  finding.urgency = held.urgency;
  finding.causes = std::move(causes);
  finding.shift = v.shift;
  if (finding.holds) finding.forecast = v.forecast;
  finding.reason = v.reason;
  out.push_back(std::move(finding));
}

bool station_wide(const StationState& state, const LineState& line) {
  return alike_probability(state, line).value_or(0) > 0.5;
}

Verdict slow_verdict(const StationState& state, const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const Thresholds& t = turn.context.thresholds;
  const double smallest = smallest_shift(t, Condition::slow_to_pressure, smallest_time_shift);
  const double shift = shift_of(line.time_chart);
  const bool own = f.time && f.time->reading.up != Signal::none && shift > 0.4 * smallest;
  const bool against_others = f.contrast && f.contrast->reading.up != Signal::none &&
                              shift > 0.45 * shift_of(line.contrast_chart) && shift > 0.4 * smallest;
  const double share = line.last_share;
  const bool near = share >= near_limit && turn.cycle.outcome == Outcome::reached;
  Verdict v;
  v.opinion.over = own || against_others || near;
  v.opinion.calm = shift < time_calm_share * smallest && share < clear_of_limit && turn.cycle.outcome == Outcome::reached;
  if (v.opinion.over || is_on(line, LineIssue::slow) || state.slow.on) {
    const bool drifting = shift > 0.4 * smallest && (own || against_others || line.time_chart.up.sum > 0);
    if (drifting) v.forecast = time_forecast(line, turn);
    v.opinion.urgency = urgency_of(v.forecast, turn.time, t);
    if (share >= 0.93) v.opinion.urgency = std::max(v.opinion.urgency, Urgency::plan);
    // A forecast alone sends nobody out at night while the line still has a fifth of its limit in hand.
    if (v.opinion.urgency == Urgency::act && share < 0.75) v.opinion.urgency = Urgency::plan;
    if (near && !drifting) v.opinion.urgency = share >= 0.97 ? Urgency::act : std::min(v.opinion.urgency, Urgency::plan);
    v.shift = shift_row("time_to_pressure_s", turn.cycle.time_to_pressure_s.value_or(0), f.time, true, 1, turn.settings.pump_limit_s, line.time_chart, true);
    v.reason = near && !(own || against_others) ? "the time to pressure is close to the pump limit" : "the time to pressure has left its baseline upwards";
    if (v.opinion.calm) v.reason = "the time to pressure is back at its baseline";
  }
  return v;
}

Verdict quick_verdict(const StationState& state, const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::quick_to_pressure, smallest_time_shift);
  const double shift = -shift_of(line.time_chart);
  const bool own = f.time && f.time->reading.down != Signal::none && shift > 0.4 * smallest;
  const bool against_others = f.contrast && f.contrast->reading.down != Signal::none &&
                              shift > -0.45 * shift_of(line.contrast_chart) && shift > 0.4 * smallest;
  Verdict v;
  v.opinion.over = own || against_others;
  v.opinion.calm = shift < time_calm_share * smallest;
  v.opinion.urgency = shift > 0.25 ? Urgency::plan : Urgency::notice;
  if (v.opinion.over || is_on(line, LineIssue::quick) || state.quick.on) {
    v.shift = shift_row("time_to_pressure_s", turn.cycle.time_to_pressure_s.value_or(0), f.time, true, 1, std::nullopt, line.time_chart, false);
    v.reason = v.opinion.calm ? "the time to pressure is back at its baseline" : "the time to pressure has left its baseline downwards";
  }
  return v;
}

Verdict not_reached_verdict(const LineState& line, const Turn& turn) {
  Verdict v;
  v.opinion.over = turn.cycle.outcome == Outcome::not_reached;
  v.opinion.calm = turn.cycle.outcome == Outcome::reached;
  const int of_last_four = __builtin_popcount(line.misses & 0x0F);
  v.opinion.urgency = of_last_four >= 2 ? Urgency::act : Urgency::plan;
  v.shift.figure = "peak_bar";
  v.shift.value = turn.cycle.peak_bar.value_or(0);
  v.shift.limit = turn.settings.target_bar;
  v.shift.turns = std::max(1, __builtin_popcount(line.misses));
  if (v.opinion.over) v.forecast = {turn.time, turn.time, turn.time};
  v.reason = v.opinion.over ? "the target pressure was not met within the pump limit" : "the target pressure is met again";
  return v;
}

Verdict residual_verdict(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double limit = f.residual_limit_bar;
  const double residual = turn.cycle.residual_bar.value_or(0);
  const bool over_limit = (line.over_residual & 3) == 3 || residual > 1.5 * limit;
  const bool drift = f.residual && f.residual->reading.up != Signal::none;
  const double shift = shift_of(line.residual_chart);
  Verdict v;
  v.opinion.over = over_limit || drift;
  v.opinion.calm = residual < 0.8 * limit && shift < 0.5 * smallest_residual_shift;
  if (v.opinion.over || is_on(line, LineIssue::residual)) {
    v.opinion.urgency = __builtin_popcount(line.over_residual) >= 4 ? Urgency::plan : Urgency::notice;
    v.shift = shift_row("residual_bar", residual, f.residual, false, limit, limit, line.residual_chart, true);
    if (over_limit) v.shift.value = residual;
    v.reason = over_limit ? "the line still holds pressure over its limit when its turn starts" : "the residual pressure has left its baseline upwards";
    if (v.opinion.calm) v.reason = "the line is empty again when its turn starts";
  }
  return v;
}

Verdict vent_verdict(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::slow_vent, smallest_vent_shift);
  Verdict v;
  v.opinion.over = f.vent && f.vent->reading.up != Signal::none && shift_of(line.vent_chart) > 0.5 * smallest;
  v.opinion.calm = shift_of(line.vent_chart) < 0.5 * smallest;
  v.shift = shift_row("vent_s", turn.cycle.vent_s.value_or(0), f.vent, true, 1, std::nullopt, line.vent_chart, true);
  v.reason = v.opinion.calm ? "the line vents as it used to" : "the vent time has left its baseline upwards";
  return v;
}

Verdict peak_verdict(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::peak_shift, smallest_peak_shift);
  const double target = turn.settings.target_bar.value_or(1);
  const double shift = shift_of(line.peak_chart);
  const bool up = f.peak && f.peak->reading.up != Signal::none;
  const bool down = f.peak && f.peak->reading.down != Signal::none;
  Verdict v;
  v.opinion.over = (up || down) && std::abs(shift) > 0.5 * smallest;
  v.opinion.calm = std::abs(shift) < 0.5 * smallest;
  v.shift = shift_row("peak_bar", turn.cycle.peak_bar.value_or(0), f.peak, true, target, std::nullopt, line.peak_chart, shift > 0);
  v.reason = v.opinion.calm ? "the peak pressure is back at its baseline" : "the peak pressure has left its baseline";
  return v;
}

// Pressure that stands below zero at rest cannot be; three turns in a row of it are no noise.
Verdict sensor_verdict(const LineState& line, const Turn& turn) {
  Verdict v;
  const double rest = std::min(turn.cycle.residual_bar.value_or(1), turn.cycle.vent_floor_bar.value_or(1));
  const bool below = rest < -1.0;
  v.opinion.over = below && line.floor.behind >= 3 && line.floor.smooth < -0.8F;
  if (!v.opinion.over && below) v.opinion.over = turn.cycle.residual_bar && shift_of(line.residual_chart) * turn.figures.residual_limit_bar < -0.8;
  v.opinion.calm = rest > -0.5;
  v.shift.figure = "residual_bar";
  v.shift.value = turn.cycle.residual_bar.value_or(rest);
  v.shift.usual = 0.0;
  v.shift.turns = 3;
  v.reason = v.opinion.calm ? "the resting pressure reads about zero again" : "the resting pressure reads below zero, which cannot be";
  return v;
}

// Grease forced in from elsewhere: one turn starts high and is short, the ones around it are in order.
bool forced_in(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  if (!f.residual || !f.residual->learnt || !f.time || !f.time->learnt) return false;
  const double residual_z = f.residual->error / std::hypot(f.residual->expected.deviation, f.residual->expected.model_deviation);
  const double time_z = f.time->error / std::hypot(f.time->expected.deviation, f.time->expected.model_deviation);
  const double over_bar = f.residual->error * f.residual_limit_bar;
  return residual_z > 6 && over_bar > 2 && time_z < -2.5 && std::abs(shift_of(line.time_chart)) < 0.5 * std::abs(f.time->error);
}

void open_sudden(LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const auto sudden = [](const std::optional<ChartedFigure>& c) { return c && (c->reading.up == Signal::sudden || c->reading.down == Signal::sudden); };
  const bool any = sudden(f.time) || sudden(f.contrast) || sudden(f.vent) || sudden(f.residual) || sudden(f.peak);
  const bool fresh_miss = turn.cycle.outcome == Outcome::not_reached && line.time_chart.up.sum <= 0 && !is_on(line, LineIssue::slow);
  if (any || fresh_miss) line.sudden = true;
  const bool quiet = std::none_of(line.held.begin(), line.held.end(), [](const Held& h) { return h.on; });
  if (quiet && !any && !fresh_miss) line.sudden = false;
}

void clear_charts_when_let_go(LineState& line, const std::array<Held, line_issue_count>& before) {
  const auto let_go = [&](LineIssue i) { return before[static_cast<std::size_t>(i)].on && !is_on(line, i); };
  if (let_go(LineIssue::slow) || let_go(LineIssue::quick)) {
    restart(line.time_chart);
    restart(line.contrast_chart);
  }
  if (let_go(LineIssue::vent)) restart(line.vent_chart);
  if (let_go(LineIssue::residual)) restart(line.residual_chart);
  if (let_go(LineIssue::peak)) restart(line.peak_chart);
}
}  // namespace

void judge_line(StationState& state, LineState& line, const Turn& turn, std::vector<Judgement>& out) {
  open_sudden(line, turn);
  const auto before = line.held;
  const int number = turn.cycle.line;
  std::optional<std::vector<WeightedCause>> known;
  const auto causes = [&]() -> std::vector<WeightedCause> {
    if (!known) known = diagnose(evidence_of(state, line, turn));
    return *known;
  };
  const auto weigh = [&](LineIssue issue, const Verdict& v, int calm_needed = calm_turns_to_clear) {
    Held& held = held_of(line, issue);
    if (!held.on && (!v.opinion.over || explained(state, line, issue))) return;
    report(held, issue, number, v, turn, causes(), out, calm_needed);
  };

  weigh(LineIssue::not_reached, not_reached_verdict(line, turn));
  weigh(LineIssue::sensor, sensor_verdict(line, turn));
  if (turn.cycle.outcome != Outcome::reached && turn.cycle.outcome != Outcome::not_reached) return;

  Verdict slow = slow_verdict(state, line, turn);
  Verdict quick = quick_verdict(state, line, turn);
  // All lines by the same factor: one warning of the station, carried on by whichever line turns.
  const bool wide = state.lines.size() > 1 && station_wide(state, line);
  if (state.slow.on) {
    report(state.slow, LineIssue::slow, std::nullopt, slow, turn, causes(), out, calm_turns_to_clear * static_cast<int>(state.lines.size()));
  } else if (slow.opinion.over && wide && !is_on(line, LineIssue::slow) && !explained(state, line, LineIssue::slow)) {
    report(state.slow, LineIssue::slow, std::nullopt, slow, turn, causes(), out);
  } else {
    weigh(LineIssue::slow, slow);
  }
  if (state.quick.on) {
    report(state.quick, LineIssue::quick, std::nullopt, quick, turn, causes(), out, calm_turns_to_clear * static_cast<int>(state.lines.size()));
  } else if (quick.opinion.over && wide && !is_on(line, LineIssue::quick) && !explained(state, line, LineIssue::quick)) {
    report(state.quick, LineIssue::quick, std::nullopt, quick, turn, causes(), out);
  } else {
    weigh(LineIssue::quick, quick);
  }

  if (forced_in(line, turn) && !is_on(line, LineIssue::residual) && !explained(state, line, LineIssue::residual)) {
    Verdict v = residual_verdict(line, turn);
    v.opinion = {.over = true, .calm = false, .urgency = Urgency::notice};
    v.shift = shift_row("residual_bar", *turn.cycle.residual_bar, turn.figures.residual, false, turn.figures.residual_limit_bar,
                        turn.figures.residual_limit_bar, line.residual_chart, true);
    v.shift.value = *turn.cycle.residual_bar;
    v.reason = "the line started its turn under pressure and was short to its target";
    report(held_of(line, LineIssue::residual), LineIssue::residual, number, v, turn,
           {{Cause::outside_pressure, 0.85}, {Cause::vent_restricted, 0.10}, {Cause::changeover_leaking, 0.05}}, out);
  } else {
    weigh(LineIssue::residual, residual_verdict(line, turn));
  }
  weigh(LineIssue::vent, vent_verdict(line, turn));
  weigh(LineIssue::peak, peak_verdict(line, turn));
  clear_charts_when_let_go(line, before);
}

}  // namespace driftline::rules
