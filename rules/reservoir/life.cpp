// Level, use a day and life, with what is not known of them.
#include <algorithm>
#include <cmath>

#include "rules/reservoir/reservoir.h"

namespace driftline::rules::reservoir {
namespace {

constexpr double z_80 = 1.2815515655446004;  // normal quantile of 0.9
constexpr double turns_a_day_spread = 0.01;
constexpr double life_days_most = 3650;      // beyond ten years nothing is said

// Turns that have come since the last one told: reconstruction may tell a turn only when the next begins.
double turns_untold(const State& state, Time time) {
  if (!state.last_turn || state.turn_s <= 0) return 0;
  const double periods = seconds_between(*state.last_turn, time) / double{state.turn_s};
  return periods >= 1 && periods < 3 ? 1 : 0;
}

}  // namespace

Life life_at(const State& state, Time time, const Context& context) {
  Life life;
  const Estimate e = state.filter.estimate();
  const double nominal_a_day = state.days_sum > 0 ? double{state.nominal_sum} / double{state.days_sum} : 0;
  const bool use_known = nominal_a_day > 0 && e.use > 0 && e.use_sd < 0.5 * e.use;
  if (use_known) life.use_pct_per_day = e.use * nominal_a_day;
  if (!state.level_known) return life;
  const double a_turn = state.turn_s > 0 ? nominal_a_day * double{state.turn_s} / 86400 : 0;
  const double level = e.level - turns_untold(state, time) * e.use * a_turn;
  life.level_pct = std::clamp(level, 0.0, 100.0);
  if (!use_known) return life;
  const double use = *life.use_pct_per_day;
  const double left = std::max(0.0, level - context.design.empty_pct.value_or(empty_pct_default));
  const double days = left / use;
  if (days > life_days_most) return life;
  const double relative_use = e.use_sd / e.use;
  const double variance = (e.level_sd * e.level_sd + level_offset_spread_pct * level_offset_spread_pct) / (use * use) +
                          days * days * (relative_use * relative_use + turns_a_day_spread * turns_a_day_spread) -
                          2 * days / use * e.cross / e.use;
  const double reach = z_80 * std::sqrt(std::max(variance, 1e-6));
  life.days = days;
  life.days_low = std::max(0.0, days - reach);
  life.days_high = days + reach;
  return life;
}

}  // namespace driftline::rules::reservoir
