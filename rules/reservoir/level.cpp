// Readings of the level: what fits, refills, a sensor in doubt.
#include "rules/reservoir/steps.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules::reservoir {
namespace {

// Of a mean of readings, for one block of many. White noise averages out; the coarse step (where noise does
// not shake it) and what temperature does to the sensor stay the same over the blocks in which the level
// falls by about a step, so each of those blocks counts for a part only.
double reading_sd(const State& state, int readings, double use_a_block_pct) {
  const double q = double{state.quantum}, noise = double{state.noise_var};
  const double shaken = std::max(0.15, std::exp(-20 * noise / std::max(q * q, 1e-6)));
  const double lasting = q * q / 12 * shaken + 0.01;
  const double alike = std::max(1.0, (0.5 * q + 0.3) / std::max(use_a_block_pct, 1e-3));
  return std::sqrt(noise / std::min(std::max(readings, 1), 8) + lasting * std::min(alike, 50.0));
}

// Returns whether the reading is to be used.
bool fits(State& state, const LevelReading& reading, double level) {
  const Estimate e = state.filter.estimate();
  const double expected = state.filter.expected_reading();
  const double noise = std::sqrt(double{state.noise_var}) + double{state.quantum};
  const bool told = state.told_at && std::abs(seconds_between(*state.told_at, reading.time)) < told_s;
  const double rise_least = told ? refill_pct_min_told : refill_pct_min;
  const double rise = rise_least + 1.5 * noise + std::min(3 * e.level_sd, 10.0);
  // A reading that stands while the count goes down has not risen.
  const bool risen = state.still.reading < -50 || level > double{state.still.reading} + rise_least / 2;
  const double fall = jump_pct_min + 2 * noise + 4 * e.level_sd;
  if (level > expected + rise && risen) {
    if (++state.odd < 2) return false;
    state.odd = 0;
    state.refilling_since = reading.time;
    state.refilled_from = static_cast<float>(e.level);
    restart_level(state, level);
    return false;
  }
  if (level < expected - fall) {
    if (++state.odd < 3) return false;
    state.odd = 0;
    state.doubt = Doubt::fell;
    state.bins = {};
    state.still = {static_cast<float>(level), static_cast<float>(level), 0, 0};
    return false;
  }
  state.odd = 0;
  return true;
}

// A reading that was doubted moves again. That it lies where the level may be by now says nothing: a count
// grows vague, and a sensor that fell to zero and stays there would be believed one day.
void check_recovery(State& state, const LevelReading& reading, double level) {
  const double moved_by = std::max({1.5, 2 * double{state.quantum}, 4 * std::sqrt(double{state.noise_var})});
  if (state.doubt == Doubt::reported || std::abs(level - double{state.still.reading}) <= moved_by) {
    state.odd = 0;
    return;
  }
  if (++state.odd < 3) return;
  state.odd = 0;
  state.doubt = Doubt::none;
  state.refilling_since = reading.time;
  restart_level(state, level);
}

// Where people refill from and to here, for the day the sensor fails.
void learn_refill(State& state, double to_pct) {
  if (state.refilled_from >= 0 && state.refills_seen < refills_kept) {
    state.from_sum += state.refilled_from;
    ++state.refills_seen;
    state.fill_sum += static_cast<float>(to_pct);
    ++state.fills;
  }
  state.refilled_from = -1;
}

void learn_noise(State& state, const LevelReading& reading, double level) {
  const bool near = state.last_reading_at && seconds_between(*state.last_reading_at, reading.time) < 3600;
  const double step = std::abs(level - double{state.last_reading});
  if (near && step < 3) {
    state.noise_var += 0.02F * (static_cast<float>(0.5 * step * step) - state.noise_var);
    if (step > 0.04 && (state.quantum <= 0 || static_cast<float>(step) < state.quantum))
      state.quantum = static_cast<float>(step);
  }
  state.last_reading = static_cast<float>(level);
}
// Longer than this follower sticks a reading has stayed: it is stuck, or less is used. It tells neither until
// it moves.
bool longer_than_usual(const State& state) {
  if (state.usual_use <= 0 || state.still.reading < -50) return false;
  const double used = double{state.still.use} * double{state.still.nominal};
  const double sticks = state.filter.likely_stick() * (state.filter.calm.back().anchored ? 1.2 : 2.2);
  return used > sticks + 0.75 * double{state.quantum} + 0.6;
}

}  // namespace

void restart_level(State& state, double reading) {
  state.filter.start_level(reading, std::max(0.4, reading_sd(state, 1, 1)));
  state.level_known = true;
  state.bins = {};
  state.still = {static_cast<float>(reading), static_cast<float>(reading),
                 static_cast<float>(state.filter.estimate().use), 0};
}

// A block of readings before `until`, as one.
void use_readings(State& state, Time until, const Context& context) {
  const Bin block = state.bins.take_before(until);
  if (block.readings == 0 || state.doubt != Doubt::none || state.refilling_since) return;
  const double mean = double{block.sum} / block.readings;
  if (!state.level_known) {
    restart_level(state, mean);
    return;
  }
  const double moved_by =
      std::max({0.6, 0.75 * double{state.quantum}, 2.5 * std::sqrt(double{state.noise_var})});
  const bool moved = std::abs(mean - double{state.still.reading}) > moved_by;
  if (!moved && longer_than_usual(state)) return;
  const Estimate before = state.filter.estimate();
  const double a_turn = state.days_sum > 0 ? before.use * double{state.nominal_sum} / double{state.days_sum} *
                                                 double{state.turn_s} / 86400
                                           : 1;
  state.filter.read(mean, reading_sd(state, block.readings, a_turn));
  judge_use_shift(state, context.thresholds);
  if (moved)
    state.still = {static_cast<float>(mean), static_cast<float>(before.level), static_cast<float>(before.use),
                   0};
}

void check_stuck(State& state) {
  if (state.doubt != Doubt::none || !state.level_known || state.still.reading < -50) return;
  if (state.usual_use <= 0) return;
  // After a refill the follower may be as far below the level as it later is above it.
  const double sticks = stick_pct.back() * (state.filter.calm.back().anchored ? 1.3 : 2.3);
  const double longest = sticks + 1.5 * double{state.quantum} + 1;
  const double used = double{state.still.use} * double{state.still.nominal};
  if (used < longest || !state.last_reading_at ||
      (state.last_turn && seconds_between(*state.last_reading_at, *state.last_turn) > 2 * 86400.0))
    return;
  state.doubt = Doubt::stuck;
  const double use = double{state.still.use};
  const double use_sd = std::max(state.filter.estimate().use_sd, 0.02 * use);
  state.filter.set_level(double{state.still.level} - used, 1.0 + 0.05 * used);
  state.filter.start_use(use, use_sd);
  state.bins = {};
}

void take_level(State& state, const LevelReading& reading, double level) {
  state.sensor_seen = true;
  if (level < readable_low_pct || level > readable_high_pct) {
    if (++state.odd >= 3) state.doubt = Doubt::impossible, state.odd = 0;
    return;
  }
  if (state.doubt == Doubt::impossible) {
    state.doubt = Doubt::none;
    state.odd = 0;
  }
  learn_noise(state, reading, level);
  if (state.refilling_since) {
    if (seconds_between(*state.refilling_since, reading.time) > refill_s) {
      learn_refill(state, level);
      state.refilling_since.reset();
    }
    restart_level(state, level);
    return;
  }
  if (state.doubt != Doubt::none) {
    check_recovery(state, reading, level);
    return;
  }
  if (state.level_known && !fits(state, reading, level)) return;
  state.bins.add(reading.time, level);
}

void mind_rest(State& state, Time time, double rested_from_s) {
  if (!state.last_turn || !state.level_known || state.doubt != Doubt::none) return;
  const Estimate e = state.filter.estimate();
  const double days = (seconds_between(*state.last_turn, time) - rested_from_s) / 86400;
  if (state.rest_level < 0 || state.refilling_since || days <= 0) {
    state.rest_level = static_cast<float>(e.level);
    state.rest_fall = 0;
    return;
  }
  const double fallen = double{state.rest_level} - e.level;
  if (fallen < rest_fall_pct_min + 3 * e.level_sd) return;
  state.rest_fall = static_cast<float>(fallen / days);
  state.shift = 1;
}

void end_rest(State& state) {
  const double nominal_a_day = state.days_sum > 0 ? double{state.nominal_sum} / double{state.days_sum} : 0;
  if (state.rest_fall > 0 && nominal_a_day > 0) {
    const double more = double{state.rest_fall} / nominal_a_day;
    state.filter.start_use(state.filter.estimate().use + more, 0.3 * more);
  }
  state.rest_fall = 0;
  state.rest_level = -1;
}

}  // namespace driftline::rules::reservoir
