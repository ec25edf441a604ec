// Where nothing reads the level: what a refill reaches, and what the low-level switch says.
#include "rules/reservoir/steps.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "rules/statistics/distributions.h"

namespace driftline::rules::reservoir {
namespace {

void guess_level(State& state, double level, double sd) {
  state.filter.set_level(level, sd);
  state.level_known = true;
}

struct Fill {
  double level = 0;
  double sd = 0;
};

Fill fill_of(const State& state) {
  const double prior = 1 / (filled_to_spread_pct * filled_to_spread_pct),
               each = 1 / (fill_spread_pct * fill_spread_pct);
  const double precision = prior + state.fills * each;
  const double sd = std::sqrt(1 / precision + (state.fills > 0 ? fill_spread_pct * fill_spread_pct : 0));
  return {(prior * filled_to_pct + each * double{state.fill_sum}) / precision,
          std::min(sd, filled_to_spread_pct)};
}

// The switch was made: the level is at its mark, and so was it after the last refill, plus what was used
// since.
void learn_fill(State& state, double mark) {
  if (state.since_refill < 0) return;
  const double filled = mark + double{state.since_refill} * state.filter.estimate().use;
  state.since_refill = -1;
  if (filled > 105 || filled < mark + refill_pct_min || state.fills >= refills_kept) return;
  state.fill_sum += static_cast<float>(filled);
  ++state.fills;
}
// The level is over `mark`: mean and variance of the truncated normal law.
void mind_floor(State& state, double mark) {
  const Estimate e = state.filter.estimate();
  const double a = (mark - e.level) / e.level_sd;
  if (a < -1.5) return;
  if (state.pushed <= 0) state.pushed_from_sd = static_cast<float>(e.level_sd);
  const double hazard = statistics::normal_density(a) / std::max(statistics::normal_probability(-a), 1e-12);
  const double shift = e.level_sd * hazard;
  state.pushed += static_cast<float>(shift);
  guess_level(state, e.level + shift,
              std::max(1.0, e.level_sd * std::sqrt(std::max(0.05, 1 + a * hazard - hazard * hazard))));
  if (double{state.pushed} < std::max(pushed_pct_least, pushed_sds * double{state.pushed_from_sd})) return;
  // Somebody refilled it, from about where people do, and it has been used since.
  const Fill fill = fill_of(state);
  const double from = state.refills_seen > 0 ? double{state.from_sum} / state.refills_seen : 0;
  const double used = double{state.pushed} + std::max(refilled_over_mark_pct, from - mark);
  guess_level(state, std::max(mark + refilled_over_mark_pct, fill.level - used),
              std::hypot(fill.sd, refilled_over_mark_pct));
  state.pushed = 0;
  state.since_refill = -1;
}

}  // namespace

// Nothing read how far it was filled: what people do, and what was done here before.
void guess_refill(State& state) {
  const Fill fill = fill_of(state);
  guess_level(
      state,
      std::max(fill.level, state.level_known ? std::min(state.filter.estimate().level, 97.0) : fill.level),
      fill.sd);
  state.since_refill = 0;
  state.pushed = 0;
}

void take_switch(State& state, bool made, const Context& context) {
  const bool first = !state.switch_seen;
  state.switch_seen = true;
  if (made != state.switch_made) state.low_readings = 0;
  state.switch_made = made;
  if (state.low_readings < 3) ++state.low_readings;
  if (state.low_readings != 2) return;
  const bool before_made = std::exchange(state.switch_was_made, made);
  const double mark = context.design.low_pct.value_or(low_pct_default);
  const double mark_sd = context.design.low_pct ? 1.5 : 4;
  const bool sensor = state.sensor_seen && state.doubt == Doubt::none;
  if (sensor) return;
  if (made) {
    learn_fill(state, mark);
    if (!first || !state.level_known) guess_level(state, first ? mark - 3 : mark, first ? 4 : mark_sd);
  } else if (before_made) {
    guess_refill(state);  // by how much is not known
  }
}

void mind_floors(State& state, const Context& context, bool reached) {
  if (!state.level_known || (state.sensor_seen && state.doubt == Doubt::none)) return;
  if (state.switch_seen && !state.switch_made)
    return mind_floor(state, context.design.low_pct.value_or(low_pct_default));
  if (reached) mind_floor(state, context.design.empty_pct.value_or(empty_pct_default));
}

}  // namespace driftline::rules::reservoir
