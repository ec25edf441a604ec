#include "rules/baseline/figure_baseline.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules {
namespace {
constexpr double settling_wander = 5;        // while a line settles its level wanders so much more
constexpr double settling_least_days = 5;
constexpr double settling_most_days = 18;
constexpr double settling_seen = 0.03;       // a transient of this size is one
constexpr double settling_days = 4;        // a time constant of purging; common practice, no source
constexpr double scatter_memory = 300;     // turns over which scatter is remembered
constexpr double scatter_prior_turns = 12; // weight of the prior scatter
constexpr double alike_prior = 0.4;        // prior of the lag-1 correlation, weight as above
constexpr double alike_most = 0.88;
constexpr double scatter_outlier = 2.5;      // likewise for the scatter
constexpr double learnt_outlier = 3;       // beyond so many deviations a turn teaches as if it were only that far

double transient_left(const FigureBaseline& baseline, Time time) {
  if (!baseline.settling_from) return 0;
  return std::exp(-std::max(0.0, days_between(*baseline.settling_from, time)) / settling_days);
}

std::array<double, 5> row(const FigureBaseline& baseline, const Weather& weather, Time time) {
  const double u = weather.grease;
  return {1, u, weather.is_temperature ? u * u : 0, weather.lag, transient_left(baseline, time)};
}

// Beyond what was learnt the curve is trusted less.
double stretch_variance(const FigureBaseline& b, const FigurePrior& prior, const Weather& weather) {
  if (!weather.is_temperature) return 0;
  const double outside = std::max({0.0, double{b.coldest} - weather.grease, weather.grease - double{b.warmest}});
  const double doubt = b.fit.mean[1] * weather.doubt;
  return prior.stretch * prior.stretch * outside * outside + doubt * doubt;
}

double alikeness(const FigureBaseline& b) {
  const double weight = scatter_prior_turns;
  const double phi = b.square_sum > 0 ? double{b.product_sum} / double{b.square_sum} : alike_prior;
  const double seen = b.weight;
  return std::clamp((phi * seen + alike_prior * weight) / (seen + weight), 0.0, alike_most);
}

double one_turn_variance(const FigureBaseline& b, const FigurePrior& prior) {
  const double pooled = (double{b.square_sum} + prior.deviation * prior.deviation * scatter_prior_turns) / (double{b.weight} + scatter_prior_turns);
  return std::max(pooled, prior.deviation_floor * prior.deviation_floor);
}

double lasting_variance(const FigureBaseline& b, const FigurePrior& prior) {
  const double phi = alikeness(b);
  const double from_neighbours = one_turn_variance(b, prior) * (1 + phi) / (1 - phi);
  return b.days.lasting_variance(one_turn_variance(b, prior), from_neighbours);
}

void note_scatter(FigureBaseline& b, float error, Time time) {
  const float keep = static_cast<float>(1 - 1 / scatter_memory);
  b.square_sum = keep * b.square_sum + error * error;
  b.product_sum = keep * b.product_sum + error * b.last_error;
  b.weight = keep * b.weight + 1;
  b.last_error = error;
  b.days.note(error, time);
}
}  // namespace

Expectation expect(const FigureBaseline& b, const FigurePrior& prior, const Weather& weather, Time time) {
  const auto x = row(b, weather, time);
  return {b.fit.value(x), std::sqrt(b.fit.variance(x) + stretch_variance(b, prior, weather)), std::sqrt(one_turn_variance(b, prior)),
          std::sqrt(lasting_variance(b, prior))};
}

void age(FigureBaseline& b, const FigurePrior& prior, Time time) {
  if (!b.since || time <= b.last) return;
  const double days = std::min(days_between(b.last, time), 30.0);
  const double wander = prior.wander_per_day * (1 + settling_wander * transient_left(b, time));
  b.fit.loosen(0, wander * wander * days);
  b.last = time;
}

void teach(FigureBaseline& b, const FigurePrior& prior, const Weather& weather, Time time, double y) {
  if (!b.since) {
    b.since = time;
    b.last = time;
    if (!b.settling_from) b.settling_from = time;
    b.fit = RecursiveFit<5>::with_prior({prior.level.value_or(y), prior.slope, prior.bend, 0, 0},
                                        {prior.level_deviation, prior.slope_deviation, prior.bend_deviation,
                                         prior.lag_deviation, prior.settling_deviation});
    b.coldest = b.warmest = static_cast<float>(weather.grease);
    // The first turn stands for the level at its own temperature, not at the reference.
    const auto x = row(b, weather, time);
    if (!prior.level) b.fit.mean[0] = y - (b.fit.value(x) - b.fit.mean[0]);
  }
  const auto x = row(b, weather, time);
  const double variance = one_turn_variance(b, prior);
  const double lasting = lasting_variance(b, prior);
  const double model = b.fit.variance(x) + stretch_variance(b, prior, weather);
  const double reach = learnt_outlier * std::sqrt(variance + model);
  const double error = std::clamp(y - b.fit.value(x), -reach, reach);
  if (b.turns >= 8) {
    const double fair = error * std::sqrt(variance / (variance + model));
    const double most = scatter_outlier * std::sqrt(variance);
    note_scatter(b, static_cast<float>(std::clamp(fair, -most, most)), time);
  }
  b.fit.learn(x, b.fit.value(x) + error, std::min(lasting, 8 * variance));
  const auto u = static_cast<float>(weather.grease);
  b.coldest += 0.3F * std::min(0.0F, u - b.coldest);
  b.warmest += 0.3F * std::max(0.0F, u - b.warmest);
  ++b.turns;
}

void renew(FigureBaseline& b, const FigurePrior& prior, Time time) {
  if (!b.since) return;
  b.fit.forget(0, prior.level_deviation);
  b.fit.forget(4, prior.settling_deviation);
  b.fit.mean[4] = 0;
  b.settling_from = time;
  b.since = time;
  b.turns = 0;
}

bool settling(const FigureBaseline& b, Time time) {
  if (!b.settling_from) return false;
  const double days = days_between(*b.settling_from, time);
  return days < settling_least_days || (days < settling_most_days && b.fit.mean[4] > settling_seen);
}

void settle_again(FigureBaseline& b, const FigurePrior& prior, Time time) {
  if (!b.since) return;
  b.fit.forget(4, prior.settling_deviation);
  b.fit.mean[4] = 0;
  b.fit.loosen(0, prior.level_deviation * prior.level_deviation / 36);
  b.settling_from = time;
}

}  // namespace driftline::rules
