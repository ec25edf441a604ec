#include "rules/judgement/figures.h"

#include <algorithm>
#include <cmath>

#include "rules/hydraulics/turn_prior.h"

namespace driftline::rules {
namespace {
constexpr double residual_floor_bar = 0.4;  // a sensor's noise at rest
constexpr double fast_time_shift = 0.10;
constexpr double off_design_deviations = 3;
constexpr double scatter_reach = 2.5;  // deviations; what is farther out is no scatter of days
constexpr int off_design_turns = 3;
constexpr double contrast_for_doubt = 3;  // what the baseline does not know, all lines share
constexpr int off_design_accepted = 60;

double turns_a_year(const LineState& line, const ControllerSettings& settings) {
  const double period = settings.cycle_s.value_or(line.period_s > 0 ? double{line.period_s} : 3600.0);
  return 365.25 * 86400 / std::max(period, 60.0);
}

// Of one condition, one line, one side of one chart, a year.
double allowed(const Thresholds& thresholds, Condition condition, std::size_t lines, double sides) {
  return std::max(budget_of(thresholds, condition), 1e-4) / (static_cast<double>(std::max<std::size_t>(lines, 1)) * sides);
}

// Charts run from a few turns on, so that a fault in the learning time is not learnt; they may speak after half of the
// turns asked for, because the baseline's own uncertainty is taken off every turn.
struct Readiness {
  int to_follow;
  int to_judge;
};
Readiness readiness(const Thresholds& thresholds) {
  const int asked = std::max(thresholds.turns_to_learn, 8);
  return {std::max(8, asked / 4), std::max(8, asked / 2)};
}

struct Charted {
  FigureBaseline& baseline;
  DriftChart& chart;
  const FigurePrior& prior;
  ChartDesign design;
  double settling_shift = 0;  // while the line settles, shifts up to this are not called drift
  double sampling_error = 0;  // of the figure, from sampling alone; half of it may last, because phases lock
  double blur = 0;            // deviation of what the expectation cannot be held to at this turn
};

ChartedFigure chart_and_teach(const Charted& c, const Weather& weather, Time time, double y, bool may_teach, const Readiness& ready) {
  ChartedFigure figure;
  figure.y = y;
  figure.design = c.design;
  age(c.baseline, c.prior, time);
  if (c.baseline.turns > 0) {
    figure.expected = expect(c.baseline, c.prior, weather, time);
    figure.expected.model_deviation = std::hypot(figure.expected.model_deviation, 0.5 * c.sampling_error, c.blur);
    figure.error = y - figure.expected.value;
  }
  figure.learnt = c.baseline.turns >= ready.to_judge;
  if (c.baseline.turns >= ready.to_follow) {
    const double rough = roughness(c.chart, figure.expected, figure.error);
    figure.expected.deviation *= rough;
    figure.expected.lasting_deviation *= rough;
    figure.far_share = far_share(c.chart);
    figure.reading = follow(c.chart, c.design, figure.expected, figure.error, time);
  }
  figure.fair_error = c.baseline.turns >= ready.to_follow ? figure.reading.fair_error : figure.error;
  figure.settling = settling(c.baseline, time);
  if (figure.settling && std::abs(shift_of(c.chart)) < c.settling_shift) {
    // While air leaves the line its level is not known to better than this: followed by the baseline, not held against it.
    const bool sudden = figure.reading.up == Signal::sudden || figure.reading.down == Signal::sudden;
    if (!sudden) {
      figure.reading.suspicious = c.chart.up.beyond > 0 || c.chart.down.beyond > 0;
      figure.reading.up = figure.reading.down = Signal::none;
      c.chart.up.sum = std::min(c.chart.up.sum, static_cast<float>(c.design.smallest_shift));
      c.chart.down.sum = std::min(c.chart.down.sum, static_cast<float>(c.design.smallest_shift));
    }
  }
  if (!figure.learnt) figure.reading.up = figure.reading.down = Signal::none;
  if (may_teach && !figure.reading.suspicious && weather.doubt < unknown_doubt) teach(c.baseline, c.prior, weather, time, y);
  return figure;
}

// A lone turn far out of one line is no reason to look at another.
double drawn_in(const LineState& line) {
  const double shift = shift_of(line.time_chart);
  return std::clamp(double{line.last_error}, shift - fast_time_shift, shift + fast_time_shift);
}

// Mean error of the other lines' last turns, when each is recent.
std::optional<double> others_error(const StationState& state, const LineState& line, Time time, double period_s) {
  double sum = 0;
  int count = 0;
  for (const LineState& other : state.lines) {
    if (&other == &line || !other.error_at) continue;
    if (seconds_between(*other.error_at, time) > 1.6 * period_s) continue;
    if (other.repair || settling(other.time_to_pressure, time)) continue;  // it differs for good reason
    sum += drawn_in(other);
    ++count;
  }
  if (count == 0) return std::nullopt;
  return sum / count;
}

ChartedFigure chart_light(LightFigure& figure, DriftChart& chart, DayMeans* days, const LightPrior& prior, const ChartDesign& design,
                          const Weather& weather, Time time, double y, bool may_teach, double alike, double sampling_error = 0) {
  ChartedFigure out;
  out.y = y;
  out.design = design;
  const auto error = look_at(figure, weather, y);
  out.learnt = error.has_value();
  if (error) {
    out.error = *error;
    const double deviation = deviation_of(figure, prior);
    const double neighbours = alike * alike * deviation * deviation;
    const double lasting = days == nullptr ? neighbours : days->lasting_variance(deviation * deviation, neighbours);
    out.expected = {y - *error, std::hypot(std::sqrt(figure.fit.variance(light_row(weather))), 0.5 * sampling_error), deviation, std::sqrt(lasting)};
    const double rough = roughness(chart, out.expected, *error);
    out.expected.deviation *= rough;
    out.expected.lasting_deviation *= rough;
    out.far_share = far_share(chart);
    out.reading = follow(chart, design, out.expected, *error, time);
  }
  if (may_teach && !out.reading.suspicious) {
    if (error && days != nullptr) days->note(static_cast<float>(std::clamp(*error, -scatter_reach * out.expected.deviation, scatter_reach * out.expected.deviation)), time);
    teach(figure, prior, weather, y);
  }
  return out;
}

void look_and_teach(LightFigure& figure, const LightPrior& prior, const Weather& weather, std::optional<double> y, bool may_teach) {
  if (!y) return;
  (void)look_at(figure, weather, *y);
  if (may_teach) teach(figure, prior, weather, *y);
}

std::optional<double> log_of(const std::optional<double>& value) {
  if (!value || !(*value > 0)) return std::nullopt;
  return std::log(*value);
}

std::optional<double> rise_of_others(const HalfCycle& cycle) {
  std::optional<double> most;
  for (int i = 0; i < lines_max; ++i) {
    if (i + 1 == cycle.line || !cycle.others_start_bar[i] || !cycle.others_stop_bar[i]) continue;
    const double rise = *cycle.others_stop_bar[i] - *cycle.others_start_bar[i];
    if (!most || rise > *most) most = rise;
  }
  return most;
}

// The time to fall to the residual limit grows without bound as the pressure at which the line stays approaches the limit:
// with p = floor + (p0 - floor) exp(-t/T) it goes with -log(limit - floor), so an error d of floor/limit moves it by
// d/(1 - floor/limit). The floor that is expected at this temperature counts, not the turn's own, which may be the fault.
// As a deviation of the logarithm of the vent time.
double vent_blur(const LineState& line, const Weather& weather, Time time, int to_judge) {
  constexpr double floor_error = 0.02;  // of the limit: sensor, and what the cold of the hour does
  if (line.residual.turns < to_judge) return 0;
  const Expectation floor = expect(line.residual, priors::residual, weather, time);
  const double room = std::clamp(1 - floor.value - floor.model_deviation, 0.03, 1.0);
  return std::hypot(floor_error, floor.model_deviation) * (1 / room - 1);
}

// The highest sample lies up to one interval before the top. As a share of the target; even over the interval.
double peak_sampling_error(const HalfCycle& cycle, double target_bar) {
  if (!cycle.shape.steep_bar_per_s || !cycle.pump_run_s || cycle.samples < 2) return 0;
  const double interval_s = *cycle.pump_run_s / (cycle.samples - 1);
  return std::max(0.0, *cycle.shape.steep_bar_per_s) * interval_s / std::sqrt(12.0) / target_bar;
}

void note_expectation(LineState& line, double expected, double period_s) {
  const double keep = std::exp(-period_s / (5 * 86400.0));
  const auto k = static_cast<float>(keep);
  line.expected_mean = k * line.expected_mean + static_cast<float>((1 - keep) * expected);
  line.expected_square = k * line.expected_square + static_cast<float>((1 - keep) * expected * expected);
  line.expected_weight = k * line.expected_weight + static_cast<float>(1 - keep);
}
constexpr int vent_turns_first = 10;
constexpr double one_vent_doubt = 0.15;  // tens of degrees
constexpr double other_line_doubt = 0.4;

void note_vent(LineState& line, const HalfCycle& cycle) {
  if (cycle.outcome != Outcome::reached || !cycle.vent_s || *cycle.vent_s <= 0) return;
  const auto y = static_cast<float>(std::log(*cycle.vent_s));
  if (line.vent_first_turns < vent_turns_first) {
    ++line.vent_first_turns;
    line.vent_first += (y - line.vent_first) / static_cast<float>(line.vent_first_turns);
  }
  line.vent_now = y - line.vent_first;
  line.vent_at = cycle.pump_start;
}

// The grease's temperature as the lines' vents tell it. `own`: this line's vent may be used.
std::optional<Weather> weather_by_vents(const StationState& state, const LineState& line, Time time, double period_s, bool own) {
  double sum = 0;
  double least = 1e9;
  double most = -1e9;
  int count = 0;
  for (const LineState& l : state.lines) {
    if (!l.vent_at || l.vent_first_turns < vent_turns_first || seconds_between(*l.vent_at, time) > 1.6 * period_s) continue;
    if (&l == &line && !own) continue;
    // A line with a fault is no thermometer for others.
    const bool ill = l.repair || std::any_of(l.held.begin(), l.held.end(), [](const Held& h) { return h.on; });
    if (&l != &line && ill) continue;
    const double u = double{l.vent_now} / vent_per_ten_degrees;
    sum += u;
    least = std::min(least, u);
    most = std::max(most, u);
    ++count;
  }
  if (count == 0) return std::nullopt;
  return Weather{.grease = sum / count, .lag = 0, .is_temperature = true, .doubt = count > 1 ? (most - least) / 2 : one_vent_doubt};
}
}  // namespace

namespace {
using DesignPrior = std::optional<hydraulics::TurnPrior>;

// What is believed of the time to pressure before the line's first turn: from its design where that is known.
FigurePrior time_prior(const LineState& line, const DesignPrior& designed) {
  FigurePrior prior = priors::time_to_pressure;
  if (line.time_to_pressure.since || !designed) return prior;  // once it has turned, what it did counts
  prior.level = designed->level;
  prior.level_deviation = designed->level_deviation;
  prior.slope = designed->slope;
  prior.slope_deviation = designed->slope_deviation;
  return prior;
}

// A line that still learns, held against its design: too far off is no good order to learn from. After `off_design_accepted`
// turns it is as it was built, whatever the papers say.
struct AgainstDesign {
  Expectation expected;
  double error = 0;
  bool off = false;
};
AgainstDesign against_design(LineState& line, const hydraulics::TurnPrior& designed, const Weather& weather, double y) {
  const double u = weather.is_temperature ? weather.grease : 0;
  const double doubt = weather.is_temperature ? weather.doubt : unknown_doubt;
  AgainstDesign out;
  out.expected.value = designed.level + designed.slope * u;
  out.expected.model_deviation = std::hypot(designed.level_deviation, designed.slope_deviation * u, designed.slope * doubt);
  out.expected.deviation = out.expected.lasting_deviation = 2 * priors::time_to_pressure.deviation;
  out.error = y - out.expected.value;
  out.off = line.off_design < off_design_accepted && std::abs(out.error) > off_design_deviations * out.expected.model_deviation;
  if (out.off) {
    ++line.off_design;
    if (line.off_design == off_design_accepted) restart(line.time_chart);
  } else if (line.off_design < off_design_accepted) {
    line.off_design = 0;
  }
  return out;
}

void tell_off_design(ChartedFigure& figure, DriftChart& chart, const AgainstDesign& design) {
  figure.expected = design.expected;
  figure.error = figure.fair_error = design.error;
  figure.learnt = figure.by_design = true;
  (design.error > 0 ? figure.reading.up : figure.reading.down) = Signal::sudden;
  figure.reading.suspicious = true;
  chart.smooth = static_cast<float>(design.error);
}

UsualFigure usual(double expected, double deviation) { return {std::round(expected * 1000) / 1000, std::round(deviation * 1000) / 1000}; }
double of_one_turn(const Expectation& e) { return std::hypot(e.deviation, e.model_deviation); }
// Of a logarithm, in multiples of `unit`.
UsualFigure usual_of_log(const Expectation& e, double unit) {
  const double expected = std::exp(std::min(e.value, 20.0)) * unit;
  return usual(expected, expected * std::expm1(std::min(of_one_turn(e), 3.0)));
}
}  // namespace

TurnUsual usual_of(const TurnFigures& f) {
  TurnUsual out;
  if (f.expected_time) out.time_to_pressure_s = usual_of_log(f.time && f.time->learnt ? f.time->expected : *f.expected_time, 1);
  if (f.vent && f.vent->learnt) out.vent_s = usual_of_log(f.vent->expected, 1);
  if (f.peak && f.peak->learnt && f.target_bar) out.peak_bar = usual_of_log(f.peak->expected, *f.target_bar);
  if (f.residual && f.residual->learnt)
    out.residual_bar = usual(f.residual->expected.value * f.residual_limit_bar, of_one_turn(f.residual->expected) * f.residual_limit_bar);
  return out;
}

double budget_share(Condition condition) {
  return condition == Condition::slow_to_pressure || condition == Condition::quick_to_pressure ? time_budget_share : other_budget_share;
}

double budget_of(const Thresholds& thresholds, Condition condition) {
  const Condition charted = condition == Condition::quick_to_pressure ? Condition::slow_to_pressure : condition;
  const auto& own = thresholds.of(charted).false_warnings_per_year;
  return own.value_or(thresholds.false_warnings_per_year * budget_share(charted));
}

double usual_shift(const Thresholds& thresholds, Condition condition, double built_in) {
  constexpr double usual_budget = 0.5;
  const double budget = std::min(budget_of(thresholds, condition) / budget_share(condition), looks_a_year / 2);
  return built_in * std::sqrt(std::log(looks_a_year / budget) / std::log(looks_a_year / usual_budget));
}

double smallest_shift(const Thresholds& thresholds, Condition condition, double built_in, const std::optional<double>& usual) {
  const ConditionThresholds& own = thresholds.of(condition);
  if (own.smallest_shift_own && usual && *usual > 0) return std::log1p(*own.smallest_shift_own / *usual);
  return own.smallest_shift && *own.smallest_shift > 0 ? std::log1p(*own.smallest_shift / 100) : usual_shift(thresholds, condition, built_in);
}

double smallest_residual(const Thresholds& thresholds, double limit_bar) {
  const ConditionThresholds& own = thresholds.of(Condition::residual_pressure);
  if (own.smallest_shift_own) return *own.smallest_shift_own / limit_bar;
  return own.smallest_shift && *own.smallest_shift > 0 ? *own.smallest_shift / 100 : usual_shift(thresholds, Condition::residual_pressure, smallest_residual_shift);
}

TurnFigures take_turn(StationState& state, LineState& line, const HalfCycle& cycle, const StationContext& context) {
  const Thresholds& thresholds = context.thresholds;
  const ControllerSettings settings = overlay(context.design.settings, overlay(state.settings, cycle.settings));
  const Time time = cycle.pump_start;
  const std::size_t lines = state.lines.size();
  const double per_year = turns_a_year(line, settings);
  const double period_s = 365.25 * 86400 / per_year;
  const Readiness ready = readiness(thresholds);
  note_vent(line, cycle);
  Weather weather = weather_of(state.air, time);
  Weather vent_weather = weather;
  if (!weather.is_temperature) {
    constexpr Weather unknown{.grease = 0, .lag = 0, .is_temperature = true, .doubt = unknown_doubt};
    weather = weather_by_vents(state, line, time, period_s, true).value_or(unknown);
    if (lines > 1) {
      vent_weather = weather_by_vents(state, line, time, period_s, false).value_or(unknown);
      vent_weather.doubt = std::max(vent_weather.doubt, other_line_doubt);  // another line's vent has its own faults
    }
  }
  const bool in_order = cycle.outcome == Outcome::reached && !cycle.off_schedule && !cycle.clock_stepped && line.misses == 0 && !line.repair;
  const double time_sides = lines > 1 ? 4 : 2;  // slow and quick, against its own baseline and against the other lines
  const auto design = [&](Condition condition, double smallest, double fast, double sides) {
    return ChartDesign{smallest, fast, allowed(thresholds, condition, lines, sides), per_year};
  };

  TurnFigures out;
  out.weather = weather;
  out.target_bar = settings.target_bar;
  out.residual_limit_bar = std::max(settings.residual_bar.value_or(residual_limit_default_bar), 1.0);
  out.residual_most_bar = thresholds.of(Condition::residual_pressure).limit.value_or(out.residual_limit_bar);
  if (line.time_to_pressure.turns >= ready.to_judge) {
    const auto at = [&](const Weather& w) { return expect(line.time_to_pressure, priors::time_to_pressure, w, time); };
    out.expected_time = at(weather);
    if (weather.is_temperature && is_felt(state.air, time)) {
      out.time_without_cold = at({0, 0, true});
      out.time_to_come = at(weather_to_come(state.air, time));
    }
  }
  bool time_suspicious = false;
  if (const auto y = log_of(cycle.time_to_pressure_s); y && cycle.outcome == Outcome::reached && !cycle.clock_stepped) {
    const double smallest = smallest_shift(thresholds, Condition::slow_to_pressure, smallest_time_shift,
                                           out.expected_time ? std::exp(out.expected_time->value) : *cycle.time_to_pressure_s);
    DesignPrior designed;
    if (line.time_to_pressure.turns < ready.to_judge) designed = hydraulics::time_to_pressure_prior(context.design, cycle.line);
    const FigurePrior prior = time_prior(line, designed);
    AgainstDesign design_says;
    if (designed) design_says = against_design(line, *designed, weather, *y);
    out.time = chart_and_teach({line.time_to_pressure, line.time_chart, prior,
                                design(Condition::slow_to_pressure, smallest, fast_time_shift, time_sides), 0.06,
                                cycle.time_to_pressure_error_s / *cycle.time_to_pressure_s},
                               weather, time, *y, in_order && !design_says.off, ready);
    if (design_says.off && line.off_design >= off_design_turns) tell_off_design(*out.time, line.time_chart, design_says);
    time_suspicious = out.time->reading.suspicious;
    if (out.time->learnt) {
      line.last_error = static_cast<float>(out.time->error);
      line.error_at = time;
      note_expectation(line, out.time->expected.value, period_s);
      out.others_error = others_error(state, line, time, period_s).value_or(0);
      // A line that is being purged differs from the others for good reason.
      if (const auto others = others_error(state, line, time, period_s); others && !settling(line.time_to_pressure, time)) {
        const double scale = smallest / smallest_time_shift;
        out.contrast = chart_light(line.contrast, line.contrast_chart, &line.contrast_days, priors::contrast,
                                   design(Condition::slow_to_pressure, scale * smallest_contrast_shift, fast_time_shift, time_sides),
                                   weather, time, out.time->error - *others, in_order && !time_suspicious, 1.15);
        // Two lines that scatter each for itself scatter more beside each other: then the contrast has nothing to add.
        const Expectation& alone = out.time->expected;
        if (out.contrast->expected.lasting_deviation > std::hypot(alone.lasting_deviation, contrast_for_doubt * alone.model_deviation)) {
          out.contrast->reading.up = out.contrast->reading.down = Signal::none;
        } else {
          time_suspicious = time_suspicious || out.contrast->reading.suspicious;
        }
      }
    }
  }
  const bool teach_rest = in_order && !time_suspicious;
  if (const auto y = log_of(cycle.vent_s)) {
    const double usual_vent_s = line.vent.turns > 0 ? std::exp(expect(line.vent, priors::vent, vent_weather, time).value) : *cycle.vent_s;
    const double smallest = smallest_shift(thresholds, Condition::slow_vent, smallest_vent_shift, usual_vent_s);
    const double blur = vent_blur(line, weather, time, ready.to_judge);
    out.vent = chart_and_teach({line.vent, line.vent_chart, priors::vent, design(Condition::slow_vent, smallest, 3 * smallest, 1), 0.3, 0, blur},
                               vent_weather, time, *y, teach_rest && blur < 0.2, ready);
  }
  if (cycle.residual_bar && !cycle.off_schedule) {
    const double y = *cycle.residual_bar / out.residual_limit_bar;
    const double smallest = smallest_residual(thresholds, out.residual_limit_bar);
    FigurePrior prior = priors::residual;
    prior.deviation_floor = std::max(prior.deviation_floor, residual_floor_bar / out.residual_limit_bar);
    out.residual = chart_and_teach({line.residual, line.residual_chart, prior,
                                    design(Condition::residual_pressure, smallest, 3 * smallest, 1), 0.2},
                                   weather, time, y, teach_rest, ready);
  }
  if (cycle.peak_bar && settings.target_bar && *cycle.peak_bar > 0 && *settings.target_bar > 0) {
    const double y = std::log(*cycle.peak_bar / *settings.target_bar);
    line.last_peak_share = static_cast<float>(std::exp(y));
    if (cycle.outcome == Outcome::reached) {
      const double smallest = smallest_shift(thresholds, Condition::peak_shift, smallest_peak_shift, settings.target_bar);
      out.peak = chart_light(line.peak, line.peak_chart, nullptr, priors::peak, design(Condition::peak_shift, smallest, 2 * smallest, 2), weather,
                             time, y, teach_rest, 1.5, peak_sampling_error(cycle, *settings.target_bar));
    }
  }
  if (cycle.outcome == Outcome::reached) {
    look_and_teach(line.plateau_length, priors::length, weather, log_of(cycle.shape.plateau_s), teach_rest);
    look_and_teach(line.plateau_level, priors::level, weather, log_of(cycle.shape.plateau_bar), teach_rest);
    look_and_teach(line.steepness, priors::steepness, weather, log_of(cycle.shape.steep_bar_per_s), teach_rest);
    look_and_teach(line.soft_start, priors::seconds, weather, cycle.shape.soft_start_s, teach_rest);
    look_and_teach(line.run_on, priors::seconds, weather, cycle.shape.run_on_s, teach_rest);
  }
  look_and_teach(line.others_rise, priors::bar, weather, rise_of_others(cycle), teach_rest);
  look_and_teach(line.floor, priors::bar, weather, cycle.vent_floor_bar, teach_rest);
  return out;
}

}  // namespace driftline::rules
