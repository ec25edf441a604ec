// The figures of one turn against their baselines: what each should have been, how far off it was, what its chart says.
#pragma once

#include <optional>

#include "rules/judgement/station_rules.h"
#include "rules/records/turn_usual.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {

// Priors of the figures: what is believed before a line's first turn; common practice, no source.
namespace priors {
inline constexpr FigurePrior time_to_pressure{.level_deviation = 0.3, .slope = -0.07, .slope_deviation = 0.08, .bend = 0.015,
                                              .bend_deviation = 0.03, .lag_deviation = 0.06, .stretch = 0.06,
                                              .settling_deviation = 0.15, .deviation = 0.015, .deviation_floor = 0.003,
                                              .wander_per_day = 0.0005};
inline constexpr FigurePrior vent{.level_deviation = 0.5, .slope = -0.2, .slope_deviation = 0.15, .bend = 0.02,
                                  .bend_deviation = 0.05, .lag_deviation = 0.12, .stretch = 0.15, .settling_deviation = 0.2,
                                  .deviation = 0.06, .deviation_floor = 0.01, .wander_per_day = 0.002};
// Bar; scaled by the residual limit in figures.cpp.
inline constexpr FigurePrior residual{.level_deviation = 0.5, .slope = -0.05, .slope_deviation = 0.05, .bend = 0.01,
                                      .bend_deviation = 0.02, .lag_deviation = 0.04, .stretch = 0.08,
                                      .settling_deviation = 0.1, .deviation = 0.05, .deviation_floor = 0.01,
                                      .wander_per_day = 0.0008};
inline constexpr LightPrior contrast{.level_deviation = 0.1, .slope = 0, .slope_deviation = 0.02, .deviation = 0.012, .deviation_floor = 0.003};
inline constexpr LightPrior peak{.level_deviation = 0.1, .slope = 0, .slope_deviation = 0.004, .deviation = 0.004, .deviation_floor = 0.0015};
inline constexpr LightPrior length{.level_deviation = 0.5, .slope = -0.03, .slope_deviation = 0.05, .deviation = 0.04, .deviation_floor = 0.01};
inline constexpr LightPrior level{.level_deviation = 0.5, .slope = -0.1, .slope_deviation = 0.1, .deviation = 0.05, .deviation_floor = 0.01};
inline constexpr LightPrior steepness{.level_deviation = 0.5, .slope = 0, .slope_deviation = 0.05, .deviation = 0.1, .deviation_floor = 0.02};
inline constexpr LightPrior seconds{.level_deviation = 10, .slope = 0, .slope_deviation = 1, .deviation = 1, .deviation_floor = 0.2};
inline constexpr LightPrior bar{.level_deviation = 3, .slope = -0.3, .slope_deviation = 0.5, .deviation = 0.4, .deviation_floor = 0.15};
}  // namespace priors

// Smallest lasting shift that matters, where the engineer has not said, at the usual budget of 0.5 a year; logarithm of a time, share
// of the residual limit. With another budget B it goes as sqrt(ln(N/B)): the level that chance reaches B times in N looks, were they
// normal and far apart (e.g. Leadbetter, Lindgren & Rootzen, Extremes, 1983, from memory). N: a smoothed figure is another one
// about every second day. So who allows more false warnings is told of smaller shifts, and not only sooner of the same.
inline constexpr double looks_a_year = 200;
inline constexpr double smallest_time_shift = 0.025;
inline constexpr double smallest_contrast_shift = 0.02;
inline constexpr double smallest_vent_shift = 0.25;
inline constexpr double smallest_residual_shift = 0.20;
inline constexpr double smallest_peak_shift = 0.03;

// Of the station's budget where a condition has none of its own: the time to pressure finds most and gets most.
inline constexpr double time_budget_share = 0.4;   // slow and quick to pressure together
inline constexpr double other_budget_share = 0.2;  // residual pressure, vent, peak each

struct ChartedFigure {
  double y = 0;               // on the figure's scale
  Expectation expected;
  ChartDesign design;         // of its chart
  double error = 0;
  double far_share = 0;       // of turns far off, as its chart had seen it before this turn
  ChartReading reading;
  double fair_error = 0;      // the error with a lone turn far out drawn in: what is remembered of it
  bool by_design = false;     // held against the line's design: nothing is learnt yet
  bool learnt = false;        // enough turns behind the baseline to judge
  bool settling = false;      // air may still leave the line: not held against it
};

struct TurnFigures {
  std::optional<ChartedFigure> time;      // logarithm of seconds
  std::optional<ChartedFigure> contrast;
  std::optional<ChartedFigure> vent;      // logarithm of seconds
  std::optional<ChartedFigure> residual;  // share of the residual limit
  std::optional<ChartedFigure> peak;      // logarithm of the share of the target
  Weather weather;            // the regressors of this turn
  double residual_limit_bar = 0;  // the controller's: what the figure is a share of
  double residual_most_bar = 0;   // what a line may hold: the plant's limit, or the controller's
  std::optional<double> target_bar;
  double others_error = 0;    // mean error of the other lines' times to pressure just now; 0 where not known
  std::optional<Expectation> expected_time;   // also where the target was not met
  std::optional<Expectation> time_without_cold;  // the same line at the reference temperature
  std::optional<Expectation> time_to_come;       // once the grease has followed today's air
};

// Follows every chart and teaches every baseline with this turn.
TurnFigures take_turn(StationState& state, LineState& line, const HalfCycle& cycle, const StationContext& context);

// What the turn was held against, in the figures' own units.
[[nodiscard]] TurnUsual usual_of(const TurnFigures& figures);

// A condition's share of the station's budget where it has none of its own.
[[nodiscard]] double budget_share(Condition condition);

// See looks_a_year.
[[nodiscard]] double usual_shift(const Thresholds& thresholds, Condition condition, double built_in);

// False warnings a station and year that the charts of a condition may give together. Conditions without a chart have no use for
// it; `quick-to-pressure` shares that of `slow-to-pressure`.
[[nodiscard]] double budget_of(const Thresholds& thresholds, Condition condition);

// The engineer's smallest shift for a condition, as a logarithm, or the built-in one. `usual` in the figure's own unit: what the
// figure is by its baseline, of a peak the target; one in s or bar is held against it, and left out where that is not known.
[[nodiscard]] double smallest_shift(const Thresholds& thresholds, Condition condition, double built_in, const std::optional<double>& usual);

// Of the residual pressure, as a share of its limit; the engineer's is per cent of the limit, or bar.
[[nodiscard]] double smallest_residual(const Thresholds& thresholds, double limit_bar);

inline constexpr double residual_limit_default_bar = 10;

}  // namespace driftline::rules
