#include "rules/judgement/line_conditions.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>

#include "rules/judgement/evidence.h"

namespace driftline::rules {
namespace {

constexpr int repair_turns_checked = 6;
constexpr double coldest_hour = 1.4;   // deviations of a daily sine by which its crest lies over its mean: sqrt 2
constexpr double vent_weather = 0.15;  // by how much the cold to come may move the vent time, logarithm
constexpr double time_calm_share = 0.5;  // a shift under this share of the smallest that matters is calm

struct Outlook {
  Forecast forecast;
  Urgency urgency = Urgency::notice;
};

Urgency urgency_of(const Forecast& forecast, Time now, const Thresholds& t, Condition condition) {
  if (!forecast.limit_at) return Urgency::notice;
  const double plan_days = t.plan_days_of(condition);
  const double act_days = t.act_days_of(condition);
  const double middle = days_between(now, *forecast.limit_at);
  const double early = days_between(now, *forecast.limit_at_earliest);
  if (early <= act_days && middle <= 2 * act_days) return Urgency::act;
  return middle <= plan_days || early <= plan_days / 2 ? Urgency::plan : Urgency::notice;
}

Condition condition_of(LineIssue issue) {
  constexpr std::array<Condition, line_issue_count> conditions{
      Condition::slow_to_pressure, Condition::quick_to_pressure, Condition::pressure_not_reached, Condition::peak_shift,
      Condition::residual_pressure, Condition::slow_vent, Condition::missed_turn, Condition::doubtful_sensor};
  return conditions[static_cast<std::size_t>(issue)];
}

// What is not watched is not held either, so that it explains no other condition away; nor is what begins in a quiet period.
bool is_watched(const Turn& turn, LineIssue issue) {
  const Thresholds& t = turn.context.thresholds;
  return t.of(condition_of(issue)).watched && !t.quiet_until_of(condition_of(issue), turn.time);
}

std::optional<double> usual_s(const std::optional<ChartedFigure>& figure) {
  return figure ? std::optional(std::exp(figure->expected.value)) : std::nullopt;
}

// True when something already open says the same.
bool explained(const StationState& state, const LineState& line, LineIssue issue) {
  const auto on = [&](LineIssue other) { return is_on(line, other); };
  switch (issue) {
    case LineIssue::slow: return on(LineIssue::not_reached) || on(LineIssue::sensor) || state.slow.on || on(LineIssue::residual) || on(LineIssue::vent);
    case LineIssue::quick: return on(LineIssue::not_reached) || on(LineIssue::sensor) || state.quick.on || state.slow.on || on(LineIssue::residual) || on(LineIssue::vent) || on(LineIssue::slow);
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
  s.turns = std::max(1, std::min<int>(side.turns, 6));
  return s;
}

// The metering plateau as the line has it in good order: its share of the time to pressure, its pressure over the target.
struct Plateau {
  double share = 0.4;
  double level = 0.4;
};
Plateau plateau_of(const LineState& line, const Turn& turn, double expected_log_s) {
  Plateau plateau;
  const auto row = light_row(turn.figures.weather);
  if (line.plateau_length.turns >= light_turns_to_learn)
    plateau.share = std::clamp(std::exp(line.plateau_length.fit.value(row) - expected_log_s), 0.05, 0.95);
  if (line.plateau_level.turns >= light_turns_to_learn && turn.settings.target_bar)
    plateau.level = std::clamp(std::exp(line.plateau_level.fit.value(row)) / *turn.settings.target_bar, 0.05, 0.95);
  return plateau;
}

Forecast time_forecast(const StationState& state, const LineState& line, const Turn& turn) {
  if (!turn.settings.pump_limit_s || !turn.figures.time || !(line.expected_weight > 0)) return {};
  const double mean = double{line.expected_mean} / double{line.expected_weight};
  const double square = double{line.expected_square} / double{line.expected_weight};
  const double weather = std::sqrt(std::max(0.0, square - mean * mean));
  const Expectation& e = turn.figures.time->expected;
  const double limit = std::log(*turn.settings.pump_limit_s) - mean;
  // What all lines share, the weather above all, is taken off a line that moves alone.
  const double alone = state.lines.size() > 1 ? 1 - alike_probability(state, line).value_or(0.5) : 0;
  const double lasting = std::hypot((1 - alone) * e.lasting_deviation, alone * 1.3 * deviation_of(line.contrast, priors::contrast));
  // The limit is met first in the coldest hour of a day.
  const auto [plateau_share, plateau_level] = plateau_of(line, turn, e.value);
  return forecast(line.wear,
                  {.laws = {0, 0.5, 0.5}, .plateau_share = plateau_share, .plateau_level = plateau_level, .limit_shift = std::max(0.0, limit - coldest_hour * weather),
                   .limit_deviation = std::max(0.01, 0.5 * weather), .lasting_deviation = lasting,
                   .wander = 0.006, .less_others = alone},
                  turn.time);
}

struct Verdict {
  Opinion opinion;
  FigureShift shift;
  Forecast forecast;
  std::string reason;
};

struct Diagnosis {
  std::vector<WeightedCause> causes;
  std::vector<EvidenceItem> evidence;
};

void report(Held& held, LineIssue issue, std::optional<int> line_number, const Verdict& v, const Turn& turn,
            const std::function<Diagnosis()>& diagnosis, std::vector<Judgement>& out, int calm_needed = calm_turns_to_clear) {
  const Urgency before = held.urgency;
  const Step step = settle(held, v.opinion, turn.time, calm_needed);
  if (step == Step::nothing) return;
  Finding finding;
  finding.condition = condition_of(issue);
  finding.line = line_number;
  finding.time = turn.time;
  finding.holds = step != Step::let_go;
  finding.urgency = held.urgency;
  // Causes are weighed when something is said; a condition that is merely kept needs none.
  if (step != Step::kept || held.urgency != before) {
    Diagnosis found = diagnosis();
    finding.causes = std::move(found.causes);
    finding.evidence = std::move(found.evidence);
  }
  finding.shift = v.shift;
  if (finding.holds) finding.forecast = v.forecast;
  finding.reason = v.reason;
  out.push_back(std::move(finding));
}

bool station_wide(const StationState& state, const LineState& line) {
  return alike_probability(state, line).value_or(0) > 0.5;
}

// One line moved against the others: was it this one, or did the others move the other way? With the movement that all
// share ~ N(0, s^2), and a slower line more common than a quicker one, the probability that it was this line.
bool this_line_moved(const StationState& state, const LineState& line, const Turn& turn, bool slower) {
  const double own = shift_of(line.time_chart);
  double others = 0;
  int count = 0;
  for (const LineState& other : state.lines)
    if (&other != &line && other.error_at) {
      others += shift_of(other.time_chart);
      ++count;
    }
  if (count == 0 || !turn.figures.time) return true;
  others /= count;
  const double s = std::max(turn.figures.time->expected.lasting_deviation / 2.4, 0.008);
  const double prior = slower ? 0.7 : 0.3;
  const double this_one = prior * std::exp(-others * others / (2 * s * s));
  const double that_one = (1 - prior) * std::exp(-own * own / (2 * s * s));
  const bool alike_direction = own * others > 0 && std::abs(others) > smallest_time_shift;
  return alike_direction || this_one > 3 * that_one;
}

// Cold as the reason for being close to the limit: without it the line would not be, and no drift is needed for it.
double weather_probability(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  if (!f.expected_time || !f.time_without_cold || !turn.settings.pump_limit_s) return 0;
  const double limit = std::log(*turn.settings.pump_limit_s);
  const double now = f.expected_time->value - limit;
  const double cold = f.expected_time->value - f.time_without_cold->value;
  const double error = std::max(0.04, f.expected_time->model_deviation);
  const double needed = 0.5 * std::erfc(-(cold - 0.06) / error / std::sqrt(2.0));
  const bool missed = turn.cycle.outcome == Outcome::not_reached;
  if (missed && line.last_peak_share < 0.6F) return 0;  // no cold keeps a line so far under its target
  const double to_come = !missed && f.time_to_come ? std::max(now, f.time_to_come->value - limit) : now;
  const double enough = 0.5 * std::erfc(-(to_come - std::log(missed ? 0.88 : 0.82)) / error / std::sqrt(2.0));
  // A drift of its own makes the cold the lesser half of the story; what the baseline does not know of such cold is none.
  const double drifted = shift_of(line.time_chart) - f.expected_time->model_deviation;
  const double drift = std::clamp((drifted - 0.6 * smallest_time_shift) / smallest_time_shift, 0.0, 1.0);
  return 0.97 * needed * enough * (1 - 0.9 * drift);  // never sure
}

std::vector<WeightedCause> with_the_weather(std::vector<WeightedCause> causes, double weather) {
  for (WeightedCause& c : causes) c.weight *= 1 - weather;
  const auto stiff = std::find_if(causes.begin(), causes.end(), [](const WeightedCause& c) { return c.cause == Cause::stiff_grease; });
  if (stiff != causes.end()) {
    stiff->weight += weather;
  } else {
    causes.push_back({Cause::stiff_grease, weather});
  }
  std::erase_if(causes, [](const WeightedCause& c) { return c.weight < 0.02; });
  return ranked(std::move(causes));
}

// Is the shift of the last day and a half above that of the days before?
bool still_grows(const LineState& line, double lasting_deviation) {
  constexpr std::size_t recent = 3;
  const auto blocks = line.wear.view().blocks;
  if (blocks.size() < 2 * recent) return false;
  const auto mean = [&](std::size_t from) {
    double sum = 0;
    double turns = 0;
    for (const WearBlock& b : blocks.subspan(from, recent)) {
      sum += double{b.mean} * double{b.turns};
      turns += double{b.turns};
    }
    return std::pair{sum / turns, turns};
  };
  const auto [now, turns] = mean(blocks.size() - recent);
  const auto [before, turns_before] = mean(blocks.size() - 2 * recent);
  return now - before > lasting_deviation * std::sqrt(1 / turns + 1 / turns_before);
}

// Recomputed when the wear history has moved on; in between the last one stands.
const Forecast& outlook_of(const StationState& state, LineState& line, const Turn& turn) {
  const int blocks = line.wear.used * 1000 + static_cast<int>(line.wear.used > 0 ? line.wear.blocks[line.wear.used - 1].turns : 0);
  const bool fresh = line.outlook_blocks == 0 || blocks / 1000 != line.outlook_blocks / 1000 || blocks - line.outlook_blocks >= 6 ||
                     blocks < line.outlook_blocks;
  if (fresh) {
    line.outlook = time_forecast(state, line, turn);
    line.outlook_blocks = blocks;
  }
  return line.outlook;
}

// All lines drift together: the first to meet its limit counts.
Forecast first_of(const StationState& state, const Forecast& own) {
  Forecast first = own;
  for (const LineState& line : state.lines)
    if (line.outlook.limit_at && (!first.limit_at || *line.outlook.limit_at < *first.limit_at)) first = line.outlook;
  return first;
}

Verdict slow_verdict(const StationState& state, LineState& line, const Turn& turn, bool wide) {
  const TurnFigures& f = turn.figures;
  const Thresholds& t = turn.context.thresholds;
  const double smallest = smallest_shift(t, Condition::slow_to_pressure, smallest_time_shift, usual_s(f.time));
  const double shift = shift_of(line.time_chart);
  const bool own = f.time && f.time->reading.up != Signal::none && shift > 0.6 * smallest;
  const bool against_others = f.contrast && f.contrast->reading.up != Signal::none &&
                              shift > 0.5 * smallest && this_line_moved(state, line, turn, true);
  const double share = line.last_share;
  // The grease follows the air: a limit that today's air will bring is told before it is there.
  const bool cold_ahead = f.time_to_come && turn.settings.pump_limit_s && f.time_to_come->model_deviation < 0.1 && share > 0.75 &&
                          f.time_to_come->value - std::log(*turn.settings.pump_limit_s) > std::log(0.95);
  const bool near = (share >= near_limit || cold_ahead) && turn.cycle.outcome == Outcome::reached;
  Verdict v;
  v.opinion.over = own || against_others || near;
  v.opinion.calm = shift < time_calm_share * smallest && share < clear_of_limit && turn.cycle.outcome == Outcome::reached;
  if (v.opinion.over || is_on(line, LineIssue::slow) || state.slow.on) {
    const bool drifting = shift > 0.4 * smallest && (own || against_others || line.time_chart.up.sum > 0);
    if (drifting) {
      v.forecast = outlook_of(state, line, turn);
      if (wide) v.forecast = first_of(state, v.forecast);
    } else {
      line.outlook = {};
      line.outlook_blocks = 0;
    }
    v.opinion.urgency = urgency_of(v.forecast, turn.time, t, Condition::slow_to_pressure);
    if (share >= 0.93) v.opinion.urgency = std::max(v.opinion.urgency, Urgency::plan);
    // A forecast alone sends nobody out at night while the line still has a fifth of its limit in hand.
    if (v.opinion.urgency == Urgency::act && share < 0.75) v.opinion.urgency = Urgency::plan;
    // While it grows, an outlook that has become vaguer is no relief.
    const Held& held = state.slow.on ? state.slow : line.held[static_cast<std::size_t>(LineIssue::slow)];
    if (drifting && held.on && f.time && still_grows(line, f.time->expected.lasting_deviation))
      v.opinion.urgency = std::max(v.opinion.urgency, std::min(held.urgency, Urgency::plan));
    if (near && !drifting) v.opinion.urgency = share >= 0.97 ? Urgency::act : share >= 0.93 ? Urgency::plan : Urgency::notice;
    v.shift = shift_row("time_to_pressure_s", turn.cycle.time_to_pressure_s.value_or(0), f.time, true, 1, turn.settings.pump_limit_s, line.time_chart, true);
    v.reason = near && !(own || against_others) ? (share >= near_limit ? "the time to pressure is close to the pump limit" : "with today's cold the time to pressure will come close to the pump limit") : "the time to pressure has left its baseline upwards";
    if (f.time && f.time->by_design) v.reason = "the line takes far longer than its design gives";
    if (v.opinion.calm && !v.opinion.over) v.reason = "the time to pressure is back at its baseline";
  }
  return v;
}

Verdict quick_verdict(const StationState& state, const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::quick_to_pressure, smallest_time_shift, usual_s(f.time));
  const double shift = -shift_of(line.time_chart);
  const bool own = f.time && f.time->reading.down != Signal::none && shift > 0.6 * smallest;
  const bool against_others = f.contrast && f.contrast->reading.down != Signal::none &&
                              shift > 0.5 * smallest && this_line_moved(state, line, turn, false);
  Verdict v;
  v.opinion.over = own || against_others;
  v.opinion.calm = shift < time_calm_share * smallest;
  v.opinion.urgency = shift > 0.25 ? Urgency::plan : Urgency::notice;
  if (v.opinion.over || is_on(line, LineIssue::quick) || state.quick.on) {
    v.shift = shift_row("time_to_pressure_s", turn.cycle.time_to_pressure_s.value_or(0), f.time, true, 1, std::nullopt, line.time_chart, false);
    v.reason = v.opinion.calm && !v.opinion.over ? "the time to pressure is back at its baseline" : "the time to pressure has left its baseline downwards";
    if (f.time && f.time->by_design) v.reason = "the line takes far less time than its design gives";
  }
  return v;
}

Verdict not_reached_verdict(const LineState& line, const Turn& turn) {
  Verdict v;
  // A run of which large parts were not seen may have been stopped by anything.
  const double run_s = turn.cycle.pump_run_s.value_or(0);
  const bool seen = !turn.cycle.largest_gap_s || run_s <= 0 || *turn.cycle.largest_gap_s < 0.3 * run_s;
  v.opinion.over = turn.cycle.outcome == Outcome::not_reached && seen;
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
  const double limit = f.residual_most_bar;
  const double residual = turn.cycle.residual_bar.value_or(0);
  const bool over_limit = (line.over_residual & 3) == 3 || residual > 1.5 * limit;
  const bool drift = f.residual && f.residual->reading.up != Signal::none;
  const double shift = shift_of(line.residual_chart);
  Verdict v;
  v.opinion.over = over_limit || drift;
  v.opinion.calm = residual < 0.8 * limit && shift < 0.5 * smallest_residual(turn.context.thresholds, f.residual_limit_bar);
  if (v.opinion.over || is_on(line, LineIssue::residual)) {
    v.opinion.urgency = __builtin_popcount(line.over_residual) >= 4 ? Urgency::plan : Urgency::notice;
    if (over_limit) {
      v.forecast = {turn.time, turn.time, turn.time};
    } else if (drift && f.residual) {
      const Expectation& e = f.residual->expected;
      v.forecast = forecast(line.residual_wear, {.laws = {1, 0, 0}, .limit_shift = std::max(0.0, limit / f.residual_limit_bar - e.value), .limit_deviation = 0.05,
                                                 .lasting_deviation = e.lasting_deviation, .wander = 0.02}, turn.time);
      v.opinion.urgency = std::max(v.opinion.urgency, std::min(urgency_of(v.forecast, turn.time, turn.context.thresholds, Condition::residual_pressure), Urgency::plan));
    }
    v.shift = shift_row("residual_bar", residual, f.residual, false, f.residual_limit_bar, limit, line.residual_chart, true);
    if (over_limit) v.shift.value = residual;
    v.reason = over_limit ? "the line still holds pressure over its limit when its turn starts" : "the residual pressure has left its baseline upwards";
    if (v.opinion.calm && !v.opinion.over) v.reason = "the line is empty again when its turn starts";
  }
  return v;
}

// A line that is not empty when its next turn comes holds more than its residual limit: when the vent will take all the time
// that there is. The vent's time goes with the inverse of what its opening still lets through.
Forecast vent_forecast(const LineState& line, const Turn& turn) {
  const double available_s = std::min(double{line.period_s} - turn.cycle.pump_run_s.value_or(0),
                                      turn.context.thresholds.of(Condition::slow_vent).limit.value_or(1e9));
  if (!turn.figures.vent || available_s <= 0) return {};
  const Expectation& e = turn.figures.vent->expected;
  return forecast(line.vent_wear,
                  {.laws = {0, 1, 0}, .limit_shift = std::max(0.0, std::log(available_s) - e.value), .limit_deviation = vent_weather,
                   .lasting_deviation = e.lasting_deviation, .wander = 0.03},
                  turn.time);
}

Verdict vent_verdict(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::slow_vent, smallest_vent_shift, usual_s(f.vent));
  Verdict v;
  const auto& limit = turn.context.thresholds.of(Condition::slow_vent).limit;
  // Smoothed, as the row says it: one long vent is no vent that is too long.
  const double lasting_s = f.vent && f.vent->learnt ? std::exp(f.vent->expected.value + shift_of(line.vent_chart)) : 0;
  const bool over_limit = limit && lasting_s > *limit;
  const bool drift = f.vent && f.vent->reading.up != Signal::none && shift_of(line.vent_chart) > 0.5 * smallest;
  v.opinion.over = drift || over_limit;
  v.opinion.calm = shift_of(line.vent_chart) < 0.5 * smallest && (!limit || lasting_s < 0.95 * *limit);
  if (v.opinion.over || is_on(line, LineIssue::vent)) {
    v.forecast = vent_forecast(line, turn);
    v.opinion.urgency = over_limit ? Urgency::plan : std::min(urgency_of(v.forecast, turn.time, turn.context.thresholds, Condition::slow_vent), Urgency::plan);
  }
  v.shift = shift_row("vent_s", turn.cycle.vent_s.value_or(0), f.vent, true, 1, limit, line.vent_chart, true);
  v.reason = over_limit && !drift ? "the vent takes longer than the plant can bear" : "the vent time has left its baseline upwards";
  if (v.opinion.calm && !v.opinion.over) v.reason = "the line vents as it used to";
  return v;
}

Verdict peak_verdict(const LineState& line, const Turn& turn) {
  const TurnFigures& f = turn.figures;
  const double smallest = smallest_shift(turn.context.thresholds, Condition::peak_shift, smallest_peak_shift, turn.settings.target_bar);
  const double target = turn.settings.target_bar.value_or(1);
  const auto& limit = turn.context.thresholds.of(Condition::peak_shift).limit;
  const double peak = turn.cycle.peak_bar.value_or(0);
  const bool over_limit = limit && peak > *limit;
  const double shift = shift_of(line.peak_chart);
  const bool up = f.peak && f.peak->reading.up != Signal::none;
  const bool down = f.peak && f.peak->reading.down != Signal::none;
  Verdict v;
  v.opinion.over = ((up || down) && std::abs(shift) > 0.5 * smallest) || over_limit;
  v.opinion.calm = std::abs(shift) < 0.5 * smallest && (!limit || peak < 0.98 * *limit);
  if (over_limit) v.opinion.urgency = Urgency::plan;
  v.shift = shift_row("peak_bar", peak, f.peak, true, target, limit, line.peak_chart, shift > 0);
  if (over_limit) v.shift.value = peak;
  v.reason = over_limit ? "the peak pressure is over what the plant can bear" : v.opinion.calm ? "the peak pressure is back at its baseline" : "the peak pressure has left its baseline";
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
  const auto causes = [&](LineIssue of) {
    const Evidence evidence = evidence_of(state, line, turn, condition_of(of));
    std::vector<WeightedCause> found = diagnose(evidence);
    // With one line there is no resting line to leak into.
    if (state.lines.size() == 1) {
      for (WeightedCause& c : found)
        if (c.cause == Cause::changeover_leaking) c.weight *= 0.25;
      found = ranked(std::move(found));
    }
    // A rest pressure that cannot be is the sensor's, whatever else has moved.
    if (of == LineIssue::sensor) {
      for (WeightedCause& c : found) c.weight *= c.cause == Cause::pressure_sensor_drift ? 1 : 0.1;
      if (std::none_of(found.begin(), found.end(), [](const WeightedCause& c) { return c.cause == Cause::pressure_sensor_drift; }))
        found.push_back({Cause::pressure_sensor_drift, 0.5});
      found = ranked(std::move(found));
    }
    // Being close to the limit or past it may be the cold's doing.
    if (of == LineIssue::not_reached || of == LineIssue::slow) found = with_the_weather(std::move(found), weather_probability(line, turn));
    return Diagnosis{found, told_evidence(evidence, found, line, turn, condition_of(of))};
  };
  const auto weigh = [&](LineIssue issue, const Verdict& v, int calm_needed = calm_turns_to_clear) {
    Held& held = held_of(line, issue);
    if (!held.on && (!v.opinion.over || !is_watched(turn, issue) || explained(state, line, issue))) return;
    report(held, issue, number, v, turn, [&] { return causes(issue); }, out, calm_needed);
  };

  // All lines by the same factor: one warning of the station, carried on by whichever line turns.
  const bool weather = weather_probability(line, turn) > 0.5 && shift_of(line.time_chart) < smallest_time_shift;
  const bool wide = state.lines.size() > 1 && (station_wide(state, line) || weather);
  // The same condition on the whole station, where all lines show it alike. A line's own warning stays that line's.
  const auto weigh_shared = [&](Held& shared, LineIssue issue, const Verdict& v) {
    const bool a_line = std::any_of(state.lines.begin(), state.lines.end(), [&](const LineState& l) { return is_on(l, issue); });
    const bool start = v.opinion.over && wide && !a_line && is_watched(turn, issue) && !explained(state, line, issue);
    if (!shared.on && !start) return weigh(issue, v);
    report(shared, issue, std::nullopt, v, turn, [&] { return causes(issue); }, out,
           calm_turns_to_clear * static_cast<int>(state.lines.size()));
  };

  weigh(LineIssue::not_reached, not_reached_verdict(line, turn));
  weigh(LineIssue::sensor, sensor_verdict(line, turn));
  if (turn.cycle.outcome != Outcome::reached && turn.cycle.outcome != Outcome::not_reached) return;

  // While a repair is being checked nothing new is called a drift.
  if (line.repair && line.repair->turns < repair_turns_checked) return;
  const Verdict slow = slow_verdict(state, line, turn, wide || state.slow.on);
  const Verdict quick = quick_verdict(state, line, turn);
  weigh_shared(state.slow, LineIssue::slow, slow);
  weigh_shared(state.quick, LineIssue::quick, quick);

  if (forced_in(line, turn) && !is_on(line, LineIssue::residual) && is_watched(turn, LineIssue::residual) && !explained(state, line, LineIssue::residual)) {
    Verdict v = residual_verdict(line, turn);
    v.opinion = {.over = true, .calm = false, .urgency = Urgency::notice};
    v.shift = shift_row("residual_bar", *turn.cycle.residual_bar, turn.figures.residual, false, turn.figures.residual_limit_bar,
                        turn.figures.residual_limit_bar, line.residual_chart, true);
    v.shift.value = *turn.cycle.residual_bar;
    v.reason = "the line started its turn under pressure and was short to its target";
    report(held_of(line, LineIssue::residual), LineIssue::residual, number, v, turn,
           [&] {
             const std::vector<WeightedCause> found{{Cause::outside_pressure, 0.85}, {Cause::vent_restricted, 0.10}, {Cause::changeover_leaking, 0.05}};
             return Diagnosis{found, told_evidence(evidence_of(state, line, turn, Condition::residual_pressure), found, line, turn, Condition::residual_pressure)};
           }, out);
  } else {
    weigh(LineIssue::residual, residual_verdict(line, turn));
  }
  weigh(LineIssue::vent, vent_verdict(line, turn));
  weigh(LineIssue::peak, peak_verdict(line, turn));
  clear_charts_when_let_go(line, before);
}

}  // namespace driftline::rules
