// What to believe of a line's time to pressure before its first turn, from its design: so that a new station is watched from
// its first hour. For rules/baseline: the figure is the logarithm of seconds, the temperature counts in tens of degrees from
// 10 C (rules/baseline/figure_baseline.h).
//
//   level        ln of the time to pressure expected at 10 C (expected_turn.h)
//   slope        change of it with ten degrees, as the secant from 0 to 20 C; below 0, cold takes time
//   deviations   one sigma. Of the level 0.15 where length and bore are known, 0.25 where they were assumed: what pumps give,
//                hoses and trapped air are not on paper. Of the slope 0.05: pumps and greases differ (common practice, no source)
// To combine it with a first turn's y, whose deviation as a measure of the level is d: weigh `level` by 1/level_deviation^2 and y
// by 1/d^2; a first turn that lies 3 sqrt(level_deviation^2 + d^2) off is no good order to learn from.
// Pure; any thread.
#pragma once

#include <optional>

#include "rules/hydraulics/expected_turn.h"

namespace driftline::hydraulics {

struct TurnPrior {
  double level = 0;
  double level_deviation = 0;
  double slope = 0;
  double slope_deviation = 0;
  bool operator==(const TurnPrior&) const = default;
};

// Empty where delivery or charges are not known, or by the design no turn would reach its target at 10 C. `line` from 1.
[[nodiscard]] std::optional<TurnPrior> time_to_pressure_prior(const StationDesign& design, int line, const Assumptions& assumptions = {});

}  // namespace driftline::hydraulics
