// What one figure of one line should be now, learnt from its own turns.
//
//   y = level + slope*u + bend*u^2 + lag*d + settling*exp(-age/4 d) + e
//
// y is the figure on the scale on which its changes add up (logarithm for times, share of the limit for residual pressure).
// u is the grease's temperature in tens of degrees from 10 C and d the correction of its lag (rules/baseline/air.h), so the
// prior is physical: grease gets stiffer by some per cent with each ten degrees, more so the colder it is. `settling` takes
// up the transient of commissioning and purging: trapped air leaves within days, so a line's times fall to a level; that
// level, not the transient, is normal. While it settles the level may also wander more.
// Coefficients carry their covariance (rules/baseline/recursive_fit.h). A cold spell outside the learnt range is extrapolated
// with honest uncertainty: to the coefficients' own is added `stretch` for each ten degrees outside, because a parabola
// need not be the grease's law there. Both make up `model_deviation`.
//
// Turns beside each other are alike (weather, hour, grease of one batch): e is autocorrelated. `deviation` is that of one
// turn, `lasting_deviation` is what counts for sums of turns:
//   lasting^2 = deviation^2 (1 + phi)/(1 - phi)    (AR(1); Brockwell & Davis, Time Series, 7.1, from memory)
// or what the scatter of daily means shows, when that is more. One turn teaches with the lasting variance, so that fifty
// alike turns of one warm day do not count as fifty.
//
// Never learns a fault: the caller teaches only turns in good order while no drift is suspected (rules/conditions).
#pragma once

#include <optional>

#include "rules/baseline/air.h"
#include "rules/baseline/day_means.h"
#include "rules/baseline/recursive_fit.h"
#include "rules/records/time.h"

namespace driftline::rules {

// What is believed of a figure before its first turn, on its own scale.
struct FigurePrior {
  std::optional<double> level = std::nullopt;  // at the reference temperature, from elsewhere than the first turn
  double level_deviation = 1;    // of the first turn as a measure of the level
  double slope = 0;              // for ten degrees
  double slope_deviation = 0;
  double bend = 0;
  double bend_deviation = 0;
  double lag_deviation = 0;
  double stretch = 0;            // deviation added for ten degrees outside the learnt range
  double settling_deviation = 0;
  double deviation = 0;          // of one turn
  double deviation_floor = 0;    // no figure is known better than this
  double wander_per_day = 0;     // standard deviation of the level's own walk in a day, while in good order
};

struct FigureBaseline {
  RecursiveFit<5> fit;
  int turns = 0;                     // taught
  std::optional<Time> since;         // first turn
  std::optional<Time> settling_from; // start of the transient
  Time last{};                       // last turn seen, taught or not
  float square_sum = 0;             // of one-turn errors, and their weight, forgetting slowly
  float product_sum = 0;            // of neighbouring errors
  float weight = 0;
  float last_error = 0;
  DayMeans days;                    // the lasting variance as days show it
  float coldest = 0;                 // learnt range of u
  float warmest = 0;
  bool operator==(const FigureBaseline&) const = default;

  template <class Archive>
  void serialize(Archive& archive) {
    archive(fit, turns, since, settling_from, last, square_sum, product_sum, weight, last_error, days, coldest, warmest);
  }
};

struct Expectation {
  double value = 0;
  double model_deviation = 0;    // of `value`: coefficients not known
  double deviation = 0;          // of one turn about it
  double lasting_deviation = 0;  // per turn, for sums of turns
};

[[nodiscard]] Expectation expect(const FigureBaseline& baseline, const FigurePrior& prior, const Weather& weather, Time time);

// Time has passed: the level may have wandered. Called once a turn, before `expect`.
void age(FigureBaseline& baseline, const FigurePrior& prior, Time time);

void teach(FigureBaseline& baseline, const FigurePrior& prior, const Weather& weather, Time time, double y);

// The line was changed or its settings were: the level is learnt anew, temperature dependence and scatter stay.
void renew(FigureBaseline& baseline, const FigurePrior& prior, Time time);

// The line may still be losing air: its first days, or a transient that was seen and is not over.
[[nodiscard]] bool settling(const FigureBaseline& baseline, Time time);

// The line was opened and is in order again: air may have to leave it, and its level may differ a little.
void settle_again(FigureBaseline& baseline, const FigurePrior& prior, Time time);

}  // namespace driftline::rules
