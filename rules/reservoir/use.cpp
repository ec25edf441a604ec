// What turns use: by mass balance or learnt, the rate of turns, and whether the use has shifted.
#include "rules/reservoir/steps.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules::reservoir {
namespace {

constexpr double rate_memory_days = 3;
constexpr double shift_share = 0.15;  // where no smallest shift is set
constexpr double shift_errors = 4;
constexpr double over_use_lasts_pct = 2;  // level used up by turns while the shift is seen, before it is said
constexpr double under_use_lasts_pct = 8;
constexpr float time_slow = 0.004F, time_quick = 0.1F;  // of the time to pressure, a turn
constexpr double time_suspected = 1.04;
constexpr double usual_holds = 0.05;     // a use further off than this is not learnt as usual
constexpr double usual_memory_pct = 60;  // level used up over which the usual use is learnt
constexpr double learnt_pct = 30;        // level used up before a use without a design is called usual

double nominal_of(const StationDesign& design, int line) {
  const auto i = static_cast<std::size_t>(line - 1);
  return *design.lines[i].charges_cm3 * design.grease_density_kg_l.value_or(density_kg_l_default) /
         (10 * *design.reservoir_kg);
}

bool balance_known(const StationDesign& design) {
  if (!design.reservoir_kg || *design.reservoir_kg <= 0 || design.lines.empty()) return false;
  const auto lines =
      static_cast<std::size_t>(design.settings.lines.value_or(static_cast<int>(design.lines.size())));
  if (design.lines.size() < lines) return false;
  return std::all_of(design.lines.begin(), design.lines.end(),
                     [](const LineDesign& l) { return l.charges_cm3 && *l.charges_cm3 > 0; });
}

void start_unknown_use(State& state, double turn_s) {
  const double a_turn = unknown_use_pct_a_day * turn_s / 86400;
  state.filter.start_use(a_turn, a_turn);
}
}  // namespace

void start(State& state, const StationDesign& design) {
  state.started = true;
  state.designed = balance_known(design);
  if (state.designed) {
    state.filter.start_use(1, design_use_spread);
    state.usual_use = 1;
    state.usual_sd = static_cast<float>(design_use_spread);
    double cycle = 0;
    for (std::size_t i = 0; i < design.lines.size(); ++i)
      cycle += nominal_of(design, static_cast<int>(i) + 1);
    if (design.settings.cycle_s && *design.settings.cycle_s > 0) {
      state.nominal_sum = static_cast<float>(0.5 * cycle * 86400 / *design.settings.cycle_s);
      state.days_sum = 0.5F;
    }
  } else {
    start_unknown_use(state, unknown_turn_s);
  }
}

void judge_use_shift(State& state, const Thresholds& thresholds) {
  const double usual = double{state.usual_use};
  if (usual <= 0 || state.rest_fall > 0) return;
  const bool turned = state.shift * (state.filter.estimate().use - usual) < 0;
  if (turned) state.shift = 0;
  const double share =
      thresholds.conditions[static_cast<std::size_t>(Condition::grease_use_shift)].smallest_shift.value_or(
          100 * shift_share) /
      100;
  const Estimate e = state.filter.estimate();
  const double difference = e.use - usual;
  const double sure = shift_errors * std::hypot(e.use_sd, double{state.usual_sd});
  if (std::abs(difference) > std::max(share * usual, sure)) {
    // A refill too small to be seen looks like a lower use for a while: less use must last.
    if (state.shifted_pct <= 0) state.shifted_pct = 1e-3F;
    if (double{state.shifted_pct} >= (difference > 0 ? over_use_lasts_pct : under_use_lasts_pct))
      state.shift = difference > 0 ? std::int8_t{1} : std::int8_t{-1};
    return;
  }
  state.shifted_pct = 0;
  if (std::abs(difference) < 0.5 * share * usual) state.shift = 0;
}

void learn_usual(State& state, double used_pct) {
  state.fallen += static_cast<float>(used_pct);
  if (state.shifted_pct > 0) state.shifted_pct += static_cast<float>(used_pct);
  const Estimate e = state.filter.estimate();
  if (state.usual_use <= 0) {
    if (double{state.fallen} < learnt_pct || e.use_sd > 0.06 * e.use) return;
    state.usual_use = static_cast<float>(e.use);
    state.usual_sd = static_cast<float>(e.use_sd);
    return;
  }
  if (state.shift != 0 || std::abs(e.use / double{state.usual_use} - 1) > usual_holds) return;
  state.usual_use += static_cast<float>(std::min(1.0, used_pct / usual_memory_pct)) *
                     static_cast<float>(e.use - double{state.usual_use});
}

TurnUse use_of(const State& state, const HalfCycle& turn, const StationDesign& design) {
  const bool known = state.designed && static_cast<std::size_t>(turn.line) <= design.lines.size();
  const double full = known ? nominal_of(design, turn.line) : 1;
  // Where the target is not known reconstruction cannot say that it was reached.
  if (!turn.settings.target_bar && turn.outcome != Outcome::unclear) return {full, turn_spread * full};
  switch (turn.outcome) {
    case Outcome::reached:
      return {full, turn_spread * full};
    case Outcome::not_reached:
      return {full, 0.15 * full};
    case Outcome::interrupted:
      return {0.7 * full, 0.3 * full};
    case Outcome::unclear:
      return {full, 0.2 * full};
  }
  return {full, full};
}

// The use a day, from turns and the time between them; a silence counts as neither.
void count_turn(State& state, const TurnUse& use, Time start, double& missed) {
  missed = 0;
  if (!state.last_turn) return;
  const double gap = seconds_between(*state.last_turn, start);
  if (state.turn_s <= 0) {
    state.turn_s = static_cast<float>(gap);
    if (!state.designed) start_unknown_use(state, std::min(gap, 86400.0));
  }
  if (gap > 2.5 * double{state.turn_s}) {
    missed = gap / double{state.turn_s} - 1;
    if (missed > 40) state.turn_s = static_cast<float>(std::min(gap, 86400.0));
    return;
  }
  state.turn_s += 0.1F * (static_cast<float>(gap) - state.turn_s);
  const double days = gap / 86400;
  const auto fade = static_cast<float>(std::exp(-days / rate_memory_days));
  state.nominal_sum = state.nominal_sum * fade + static_cast<float>(use.nominal);
  state.days_sum = state.days_sum * fade + static_cast<float>(days);
}

void follow_time(State& state, const HalfCycle& turn) {
  if (turn.outcome == Outcome::reached || turn.outcome == Outcome::not_reached)
    state.misses =
        static_cast<std::uint8_t>(state.misses << 1 | (turn.outcome == Outcome::not_reached ? 1 : 0));
  if (!turn.time_to_pressure_s) return;
  const auto i = static_cast<std::size_t>(turn.line - 1);
  const auto value = static_cast<float>(*turn.time_to_pressure_s);
  float& usual = state.time_usual[i];
  float& now = state.time_now[i];
  if (usual <= 0) usual = now = value;
  if (state.turns_timed < 250) ++state.turns_timed;
  // Not while more is used than usual: what is under suspicion must not become the yardstick.
  const bool suspected =
      state.usual_use > 0 && state.filter.estimate().use > time_suspected * double{state.usual_use};
  if (!suspected)
    usual += std::max(time_slow, 1.0F / static_cast<float>(state.turns_timed)) * (value - usual);
  now += time_quick * (value - now);
}

// After a repair: what is used goes back to what it was, or does not; what was seen of late no longer tells.
void expect_usual_use(State& state) {
  const double now = state.filter.estimate().use, usual = double{state.usual_use};
  if (usual <= 0) return state.filter.loosen_use(0.1 * now);
  const double off = std::abs(now - usual);
  if (off > 0.1 * usual)
    state.filter.start_use(usual, std::min(off / 2, 0.2 * usual));
  else
    state.filter.loosen_use(std::max(0.02 * usual, off));
  state.shifted_pct = 0;
  state.use_count = 0;
}

void remember_use(State& state) {
  if (state.use_count == state.uses.size()) {
    std::move(state.uses.begin() + 1, state.uses.end(), state.uses.begin());
    std::move(state.uses_lately.begin() + 1, state.uses_lately.end(), state.uses_lately.begin());
    --state.use_count;
  }
  state.uses_lately[state.use_count] = static_cast<float>(state.filter.lately().use);
  state.uses[state.use_count++] = static_cast<float>(state.filter.estimate().use);
}

}  // namespace driftline::rules::reservoir
