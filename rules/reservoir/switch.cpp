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

// The switch was made: the level is at its mark, and so was it after the last refill, plus what was used
// since.
void learn_fill(State& state, double mark) {
  if (state.since_refill < 0) return;
  const double filled = mark + double{state.since_refill} * state.filter.estimate().use;
  state.since_refill = -1;
  if (filled > 105 || filled < mark + refill_pct_min || state.fills > 20) return;
  state.fill_sum += static_cast<float>(filled);
  ++state.fills;
}
}  // namespace

// Nothing read how far it was filled: what people do, and what was done here before.
void guess_refill(State& state) {
  const double prior = 1 / (filled_to_spread_pct * filled_to_spread_pct),
               each = 1 / (fill_spread_pct * fill_spread_pct);
  const double precision = prior + state.fills * each;
  const double level = (prior * filled_to_pct + each * double{state.fill_sum}) / precision;
  const double sd = std::sqrt(1 / precision + (state.fills > 0 ? fill_spread_pct * fill_spread_pct : 0));
  guess_level(state,
              std::max(level, state.level_known ? std::min(state.filter.estimate().level, 97.0) : level),
              std::min(sd, filled_to_spread_pct));
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

// Nothing reads the level: with the switch open it is over its mark (mean and variance of the truncated
// normal law).
void mind_switch(State& state, const Context& context) {
  if (!state.switch_seen || state.switch_made || !state.level_known ||
      (state.sensor_seen && state.doubt == Doubt::none))
    return;
  const double mark = context.design.low_pct.value_or(low_pct_default);
  const Estimate e = state.filter.estimate();
  const double a = (mark - e.level) / e.level_sd;
  if (a < -1.5) return;
  const double hazard = statistics::normal_density(a) / std::max(statistics::normal_probability(-a), 1e-12);
  const double shift = e.level_sd * hazard;
  state.pushed += static_cast<float>(shift);
  guess_level(state, e.level + shift,
              std::max(1.0, e.level_sd * std::sqrt(std::max(0.05, 1 + a * hazard - hazard * hazard))));
  if (double{state.pushed} < pushed_pct_most) return;
  guess_level(state, anywhere_pct, anywhere_spread_pct);
  state.pushed = 0;
  state.since_refill = -1;
}

}  // namespace driftline::rules::reservoir
