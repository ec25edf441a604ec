#include "rules/judgement/evidence.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules {
namespace {
constexpr double smooth_turns = 6;
constexpr double recent_days = 3;
constexpr double below_zero_bar = 0.7;
constexpr double shift_to_compare = 0.012;
constexpr double large_shift = 0.08;
constexpr double level_tells = 0.35;  // error of the use over the move that is looked for
constexpr double shift_to_share_out = 0.02;  // of the time to pressure; less is noise, and where it lies says nothing

double up_probability(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

void note_chart(Evidence& evidence, Symptom symptom, const std::optional<ChartedFigure>& figure, const DriftChart& chart, double matters_from) {
  if (!figure || !figure->learnt) return;
  // In the first turns after a step the smoothed error lags: then the mean of the turns in the sum tells the shift, k + S/n
  // (Montgomery & Runger, section 16-10; each turn no farther out than its cap).
  const bool up = chart.up.sum >= chart.down.sum;
  const ChartSide& side = up ? chart.up : chart.down;
  double shift = shift_of(chart);
  double turns = smooth_turns;
  if (side.turns >= 1 && side.turns < smooth_turns) {
    const double allowance = limits_of(figure->design, figure->expected, figure->far_share).allowance;
    const double mean = (double{side.sum} / side.turns + allowance) * (up ? 1 : -1);
    if (std::abs(mean) > std::abs(shift)) {
      shift = mean;
      turns = side.turns;
    }
    // Two turns in a row far out are no lone turn: the newest is where the figure now is.
    if (side.beyond >= 2 && std::abs(figure->error) > std::abs(shift)) {
      shift = figure->error;
      turns = 1;
    }
  }
  const double error = std::hypot(figure->expected.lasting_deviation / std::sqrt(turns), figure->expected.model_deviation);
  note(evidence, symptom, sight_of(shift, error, matters_from));
}

double error_of(const LightFigure& figure, const LightPrior& prior, const Weather& weather) {
  return std::hypot(1.3 * deviation_of(figure, prior) / std::sqrt(static_cast<double>(figure.behind)), 1.5 * std::sqrt(figure.fit.variance(light_row(weather))));
}

void note_light(Evidence& evidence, Symptom symptom, const LightFigure& figure, const LightPrior& prior, const Weather& weather, double matters_from) {
  if (figure.turns < light_turns_to_learn || figure.behind < 1) return;
  note(evidence, symptom, sight_of(figure.smooth, error_of(figure, prior, weather), matters_from));
}

bool within_days(const std::optional<Time>& at, Time now, double days) {
  return at && std::abs(days_between(*at, now)) < days;
}

bool daytime(Time time) {
  const auto hour = ms_since_1970(time) / 3600000 % 24;
  return hour >= 5 && hour < 19;
}
}  // namespace

std::optional<double> alike_probability(const StationState& state, const LineState& line) {
  const double own = shift_of(line.time_chart);
  if (state.lines.size() < 2 || std::abs(own) < shift_to_compare || !line.error_at) return std::nullopt;
  const double own_last = line.last_error;
  const bool large = std::abs(own_last) > large_shift && own * own_last > 0;
  double least = 1e9;
  for (const LineState& other : state.lines) {
    if (&other == &line || !other.error_at) continue;
    double share = shift_of(other.time_chart) / own;
    // A large step is in each line's last turn before it is in the smoothed shifts, which lag by different turns.
    if (large) share = std::max(share, double{other.last_error} / own_last);
    least = std::min(least, share);
  }
  if (least > 1e8) return std::nullopt;
  // The contrast is free of what both lines share; its scatter says how well the two shifts can be told apart.
  const double error = std::max(1.5 * deviation_of(line.contrast, priors::contrast) / std::sqrt(smooth_turns), 0.002) / std::abs(own);
  return up_probability((least - 0.55) / std::max(error, 0.08));
}

namespace {
// Of a shift of the time to pressure, does more than `fair_share` lie in this stretch of the rise?
void note_share(Evidence& evidence, Symptom symptom, const LightFigure& figure, const Weather& weather, double shift_s) {
  if (figure.turns < light_turns_to_learn || figure.behind < 1 || std::abs(shift_s) < 0.5) return;
  constexpr double fair_share = 0.35;
  const double error = error_of(figure, priors::seconds, weather);
  note(evidence, symptom, sight_of(figure.smooth, std::hypot(error, 0.05 * shift_s), std::max(fair_share * std::abs(shift_s), 0.3)));
}

void note_own_figure(Evidence& e, Condition of) {
  constexpr double sure = 0.92;
  const auto at_least = [&](Symptom symptom, bool up) {
    auto& sight = e[static_cast<std::size_t>(symptom)];
    const double now = sight ? (up ? sight->up : sight->down) : 0.0;
    const double p = std::max(now, sure);
    sight = up ? Sight{0, p} : Sight{p, 0};
  };
  switch (of) {
    case Condition::slow_to_pressure: return at_least(Symptom::time_to_pressure, true);
    case Condition::quick_to_pressure: return at_least(Symptom::time_to_pressure, false);
    case Condition::slow_vent: return at_least(Symptom::vent, true);
    case Condition::residual_pressure: return at_least(Symptom::residual, true);
    case Condition::peak_shift: {
      const auto& peak = e[static_cast<std::size_t>(Symptom::peak)];
      return at_least(Symptom::peak, !peak || peak->up >= peak->down);
    }
    case Condition::pressure_not_reached:
    case Condition::reservoir_low:
    case Condition::short_reservoir_life:
    case Condition::grease_use_shift:
    case Condition::missed_turn:
    case Condition::station_silent:
    case Condition::doubtful_sensor: return;
  }
}
void note_shape(Evidence& e, const LineState& line, const TurnFigures& f) {
  note_light(e, Symptom::plateau_length, line.plateau_length, priors::length, f.weather, 0.03);
  note_light(e, Symptom::plateau_level, line.plateau_level, priors::level, f.weather, 0.06);
  note_light(e, Symptom::steepness, line.steepness, priors::steepness, f.weather, 0.10);
  const double shift_s = f.expected_time ? std::exp(f.expected_time->value) * std::expm1(shift_of(line.time_chart)) : 0;
  if (std::abs(shift_of(line.time_chart)) > shift_to_share_out) {
    note_share(e, Symptom::soft_start, line.soft_start, f.weather, shift_s);
    note_share(e, Symptom::run_on, line.run_on, f.weather, shift_s);
  }
}
// From which shift on the vent speaks. A restricted vent leaves pressure for the next turn only once it takes a good part of
// the time there is; a residual pressure that rose without that is not the vent's. The little by which the vent is longer then
// is the shorter way to the limit.
double vent_matters_from(const LineState& line, const Turn& turn, Condition of) {
  const double with_time = std::clamp(0.4 * std::abs(shift_of(line.time_chart)), 0.015, 0.05);
  const double available_s = double{line.period_s} - turn.cycle.pump_run_s.value_or(0);
  if (of != Condition::residual_pressure || !turn.figures.vent || available_s <= 0) return with_time;
  return std::max(with_time, 0.3 * (std::log(available_s) - turn.figures.vent->expected.value));
}

// Peaks follow the controller's target: did those of the other lines move with this one's?
std::optional<double> peaks_alike(const StationState& state, const LineState& line) {
  const double own = shift_of(line.peak_chart);
  if (state.lines.size() < 2 || std::abs(own) < 0.01) return std::nullopt;
  double least = 1e9;
  for (const LineState& other : state.lines)
    if (&other != &line && other.peak.turns >= light_turns_to_learn) least = std::min(least, shift_of(other.peak_chart) / own);
  if (least > 1e8) return std::nullopt;
  return up_probability((least - 0.5) / 0.15);
}

// The reservoir as a witness: does what turns take move with the time to pressure? A leak of one line of n moves it by an n-th. Only
// where the level tells such a move from none.
void note_level_use(Evidence& e, const StationState& state, const LineState& line) {
  const reservoir::State& r = state.reservoir;
  const double moved = std::abs(shift_of(line.time_chart));
  if (!r.sensor_seen || !r.level_known || r.doubt != reservoir::Doubt::none || r.usual_use <= 0 || moved < shift_to_share_out) return;
  const double lines = static_cast<double>(std::max<std::size_t>(state.lines.size(), 1));
  const double alike = lines > 1 ? alike_probability(state, line).value_or(0.5) : 1;
  const double expected = moved * (alike + (1 - alike) / lines);
  const reservoir::Estimate now = r.filter.lately();
  if (now.use <= 0) return;
  const double error = std::hypot(now.use_sd / now.use, double{r.usual_sd} / double{r.usual_use});
  if (error > level_tells * expected) return;
  note(e, Symptom::level_use, sight_of(std::log(now.use / double{r.usual_use}), error, 0.5 * expected));
}

// A turn that missed its target after hanging just under it: the flow had somewhere to go at that pressure and no lower.
void note_hanging(Evidence& e, const LineState& line, const Turn& turn) {
  if (!turn.cycle.shape.run_on_s || !turn.cycle.pump_run_s || line.run_on.turns < light_turns_to_learn) return;
  const double longer = *turn.cycle.shape.run_on_s - line.run_on.fit.value(light_row(turn.figures.weather));
  note(e, Symptom::run_on, sight_of(longer, 0.05 * *turn.cycle.pump_run_s, 0.15 * *turn.cycle.pump_run_s));
}
}  // namespace

Evidence evidence_of(const StationState& state, const LineState& line, const Turn& turn, Condition of) {
  Evidence e;
  const TurnFigures& f = turn.figures;
  const HalfCycle& cycle = turn.cycle;
  note_chart(e, Symptom::time_to_pressure, f.time, line.time_chart, 0.012);
  note_chart(e, Symptom::vent, f.vent, line.vent_chart, vent_matters_from(line, turn, of));
  note_chart(e, Symptom::residual, f.residual, line.residual_chart, 0.12);
  note_chart(e, Symptom::peak, f.peak, line.peak_chart, 0.01);
  const bool missed = cycle.outcome == Outcome::not_reached;
  // A rise that never came says nothing of its shape, and what the line did before it broke is no evidence.
  const bool shaped = !(missed && line.sudden);
  if (shaped) note_shape(e, line, f);
  note_light(e, Symptom::others_rise, line.others_rise, priors::bar, f.weather, 1.5);
  const auto alike = of == Condition::peak_shift ? peaks_alike(state, line) : alike_probability(state, line);
  if (alike) note_probability(e, Symptom::all_lines, *alike);
  if (missed) note_hanging(e, line, turn);
  note(e, Symptom::sudden, line.sudden);
  note(e, Symptom::not_reached, missed || (line.misses & 3) != 0);
  if (missed && line.last_peak_share > 0) note(e, Symptom::far_below, line.last_peak_share < 0.6F);
  note(e, Symptom::after_low, within_days(state.last_low, turn.time, recent_days));
  note(e, Symptom::after_repair, within_days(state.last_repair, turn.time, recent_days));
  if (state.air.at) note_probability(e, Symptom::cold, up_probability((state.air.season_c - state.air.slow_c - 4) / 2));
  if (f.time && f.time->learnt && turn.settings.pump_limit_s) {
    const double expected_share = std::exp(f.time->expected.value) / *turn.settings.pump_limit_s;
    const bool near = line.last_share >= static_cast<float>(near_limit);
    const double error = std::max(0.03, f.time->expected.model_deviation);
    note_probability(e, Symptom::weather_says_so, near && state.air.at ? up_probability((std::log(expected_share) - std::log(0.8)) / error) : 0.0);
  }
  if (line.floor.turns > 0 || cycle.residual_bar) {
    const double rest = std::min(cycle.residual_bar.value_or(0), cycle.vent_floor_bar.value_or(0));
    note_probability(e, Symptom::below_zero, up_probability((-rest - below_zero_bar) / 0.25));
  }
  note_level_use(e, state, line);
  note(e, Symptom::one_turn, false);
  note(e, Symptom::settings_changed, within_days(state.last_settings, turn.time, 2));
  if (line.sudden) note(e, Symptom::working_hours, daytime(cycle.pump_start));
  note_own_figure(e, of);
  return e;
}

}  // namespace driftline::rules
