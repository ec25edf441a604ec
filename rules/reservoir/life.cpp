// Level, use a day and life, with what is not known of them.
#include <algorithm>
#include <array>
#include <cmath>
#include <span>

#include "rules/reservoir/reservoir.h"
#include "rules/statistics/change_point.h"
#include "rules/statistics/trend.h"

namespace driftline::rules::reservoir {
namespace {

constexpr double z_80 = 1.2815515655446004;  // normal quantile of 0.9
constexpr double turns_a_day_spread = 0.005;
constexpr double use_known_share = 0.25;  // of the use: known worse, no life is said
constexpr double trend_sure = 2.5;
constexpr double trend_smallest = 0.004;  // of the use, a day
constexpr double trend_doubt = 0.5;       // of what a trend adds: 1 sigma, it may level off or be repaired
constexpr double trend_most = 1.5;
constexpr double trend_ahead_most = 0.1;  // of the use
constexpr double life_days_most = 3650;   // beyond ten years nothing is said

// Turns that have come since the last one told: reconstruction may tell a turn only when the next begins.
double turns_untold(const State& state, Time time) {
  if (!state.last_turn || state.turn_s <= 0) return 0;
  const double periods = seconds_between(*state.last_turn, time) / double{state.turn_s};
  return periods >= 1 && periods < 3 ? 1 : 0;
}

struct Change {
  double a_day = 0;    // of the use, as a share; 0 where no straight trend is sure
  double now = 1;      // where the trend has got to, as a share of the use; the calm estimate lags behind it
  double walk_sd = 0;  // change from day to day
};

Change change_of(const State& state, double use) {
  Change change;
  const std::size_t n = state.use_count;
  if (n < 3) return change;
  std::array<double, uses_max> day{}, value{};
  double squares = 0;
  for (std::size_t i = 0; i < n; ++i) {
    day[i] = static_cast<double>(i);
    value[i] = double{state.uses_lately[i]} / use;
    if (i > 0) squares += std::pow(std::clamp(double{state.uses[i] - state.uses[i - 1]} / use, -0.3, 0.3), 2);
  }
  change.walk_sd = std::sqrt(squares / static_cast<double>(n - 1));
  if (n < 8) return change;
  const std::span<const double> x(day.data(), n), y(value.data(), n);
  const auto test = statistics::mann_kendall(y);
  const auto line = statistics::theil_sen(x, y);
  const auto step = statistics::locate_shift(y, 2);
  if (!test || !line || !step || std::abs(test->z) < trend_sure || std::abs(line->slope) < trend_smallest)
    return change;
  double residual = 0;
  for (std::size_t i = 0; i < n; ++i) residual += std::pow(y[i] - line->intercept - line->slope * x[i], 2);
  // A step has one number more to choose, its place: by the Bayesian information criterion (Schwarz 1978,
  // from memory) it must fit better by so much.
  const double fair = std::exp(std::log(static_cast<double>(n)) / static_cast<double>(n));
  if (residual >= fair * step->rss) return change;
  change.a_day = line->slope;
  change.now = std::clamp(line->intercept + line->slope * static_cast<double>(n - 1), 1 - trend_ahead_most,
                          1 + trend_ahead_most);
  return change;
}

// left = use * (T + b T^2/2), b the change a day; the mean use over T kept within a factor.
double days_until_used(double left, double use, double b) {
  const double plain = left / use;
  if (b == 0) return plain;
  const double root = 1 + 2 * b * plain;
  const double days = root > 0 ? 2 * plain / (1 + std::sqrt(root)) : 2 * plain;
  return std::clamp(days, plain / trend_most, plain * trend_most);
}

}  // namespace

Life life_at(const State& state, Time time, const Context& context) {
  Life life;
  const Estimate e = state.filter.estimate();
  const double nominal_a_day = state.days_sum > 0 ? double{state.nominal_sum} / double{state.days_sum} : 0;
  const bool use_known = nominal_a_day > 0 && e.use > 0 && e.use_sd < use_known_share * e.use;
  if (use_known) life.use_pct_per_day = e.use * nominal_a_day;
  if (!state.level_known) return life;
  const double a_turn = state.turn_s > 0 ? nominal_a_day * double{state.turn_s} / 86400 : 0;
  const double level = e.level - turns_untold(state, time) * e.use * a_turn;
  life.level_pct = std::clamp(level, 0.0, 100.0);
  if (!use_known) return life;
  const double use = *life.use_pct_per_day + double{state.rest_fall};
  const double left = std::max(0.0, level - context.design.empty_pct.value_or(empty_pct_default));
  const Change change = change_of(state, e.use);
  const double days = days_until_used(left, use * change.now, change.a_day);
  if (days > life_days_most) return life;
  const double relative_use = e.use_sd / e.use;
  const double mark_sd = context.design.empty_pct ? 0 : empty_pct_spread;
  const double by_trend = trend_doubt * change.a_day * days / 2;  // of the mean use until then, as a share
  const double variance =
      (e.level_sd * e.level_sd + mark_sd * mark_sd + level_offset_spread_pct * level_offset_spread_pct) /
          (use * use) +
      days * days *
          (by_trend * by_trend + relative_use * relative_use + turns_a_day_spread * turns_a_day_spread +
           change.walk_sd * change.walk_sd * std::min(days, 60.0) / 3) -
      2 * days / use * e.cross / e.use;
  const double reach = z_80 * std::sqrt(std::max(variance, 1e-6));
  life.days = days;
  life.days_low = std::max(0.0, days - reach);
  life.days_high = days + reach;
  return life;
}

}  // namespace driftline::rules::reservoir
