// What each event does to the reservoir's state.
#include "rules/reservoir/reservoir.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "rules/reservoir/conditions.h"
#include "rules/statistics/distributions.h"

namespace driftline::rules::reservoir {
namespace {

constexpr double late_after_s = 900;        // what comes later than this is judged at its coming
constexpr double rate_memory_days = 3;
constexpr double day_grace_s = 6 * 3600.0;
constexpr double no_turns_s = 6 * 3600.0;   // readings are used without a turn after this
constexpr double shift_share = 0.15;        // where no smallest shift is set
constexpr double shift_errors = 4;
constexpr double over_use_lasts_pct = 2;    // level used up by turns while the shift is seen, before it is said
constexpr double under_use_lasts_pct = 8;
constexpr float time_slow = 0.004F, time_quick = 0.1F;  // of the time to pressure, a turn
constexpr double time_suspected = 1.04;
constexpr double usual_holds = 0.05;        // a use further off than this is not learnt as usual
constexpr double usual_memory_pct = 60;     // level used up over which the usual use is learnt
constexpr double learnt_pct = 30;           // level used up before a use without a design is called usual

Time midnight_of(Time time) { return std::chrono::floor<std::chrono::days>(time); }
Time judged_at(Time event, Time received) { return seconds_between(event, received) > late_after_s ? received : event; }

double nominal_of(const StationDesign& design, int line) {
  const auto i = static_cast<std::size_t>(line - 1);
  return *design.lines[i].charges_cm3 * design.grease_density_kg_l.value_or(density_kg_l_default) / (10 * *design.reservoir_kg);
}

bool balance_known(const StationDesign& design) {
  if (!design.reservoir_kg || *design.reservoir_kg <= 0 || design.lines.empty()) return false;
  const auto lines = static_cast<std::size_t>(design.settings.lines.value_or(static_cast<int>(design.lines.size())));
  if (design.lines.size() < lines) return false;
  return std::all_of(design.lines.begin(), design.lines.end(), [](const LineDesign& l) { return l.charges_cm3 && *l.charges_cm3 > 0; });
}

void start_unknown_use(State& state, double turn_s) {
  const double a_turn = unknown_use_pct_a_day * turn_s / 86400;
  state.filter.start_use(a_turn, a_turn);
}

void start(State& state, const StationDesign& design) {
  state.started = true;
  state.designed = balance_known(design);
  if (state.designed) {
    state.filter.start_use(1, design_use_spread);
    state.usual_use = 1;
    state.usual_sd = static_cast<float>(design_use_spread);
    double cycle = 0;
    for (std::size_t i = 0; i < design.lines.size(); ++i) cycle += nominal_of(design, static_cast<int>(i) + 1);
    if (design.settings.cycle_s && *design.settings.cycle_s > 0) {
      state.nominal_sum = static_cast<float>(0.5 * cycle * 86400 / *design.settings.cycle_s);
      state.days_sum = 0.5F;
    }
  } else {
    start_unknown_use(state, unknown_turn_s);
  }
}

// Of a mean of readings, for one block of many. White noise averages out; the coarse step (where noise does not shake it)
// and what temperature does to the sensor stay the same over the blocks in which the level falls by about a step, so each
// of those blocks counts for a part only.
double reading_sd(const State& state, int readings, double use_a_block_pct) {
  const double q = double{state.quantum}, noise = double{state.noise_var};
  const double shaken = std::max(0.15, std::exp(-20 * noise / std::max(q * q, 1e-6)));
  const double lasting = q * q / 12 * shaken + 0.01;
  const double alike = std::max(1.0, (0.5 * q + 0.3) / std::max(use_a_block_pct, 1e-3));
  return std::sqrt(noise / std::min(std::max(readings, 1), 8) + lasting * std::min(alike, 50.0));
}

void restart_level(State& state, double reading) {
  state.filter.start_level(reading, std::max(0.4, reading_sd(state, 1, 1)));
  state.level_known = true;
  state.bins = {};
  state.still = {static_cast<float>(reading), static_cast<float>(reading), static_cast<float>(state.filter.estimate().use), 0};
}

void guess_level(State& state, double level, double sd) {
  state.filter.set_level(level, sd);
  state.level_known = true;
}

// Nothing read how far it was filled: what people do, and what was done here before.
void guess_refill(State& state) {
  const double prior = 1 / (filled_to_spread_pct * filled_to_spread_pct), each = 1 / (fill_spread_pct * fill_spread_pct);
  const double precision = prior + state.fills * each;
  const double level = (prior * filled_to_pct + each * double{state.fill_sum}) / precision;
  const double sd = std::sqrt(1 / precision + (state.fills > 0 ? fill_spread_pct * fill_spread_pct : 0));
  guess_level(state, std::max(level, state.level_known ? std::min(state.filter.estimate().level, 97.0) : level), std::min(sd, filled_to_spread_pct));
  state.since_refill = 0;
  state.pushed = 0;
}

// The switch was made: the level is at its mark, and so was it after the last refill, plus what was used since.
void learn_fill(State& state, double mark) {
  if (state.since_refill < 0) return;
  const double filled = mark + double{state.since_refill} * state.filter.estimate().use;
  state.since_refill = -1;
  if (filled > 105 || filled < mark + refill_pct_min || state.fills > 20) return;
  state.fill_sum += static_cast<float>(filled);
  ++state.fills;
}

void judge_use_shift(State& state, const Thresholds& thresholds) {
  const double usual = double{state.usual_use};
  if (usual <= 0) return;
  const bool turned = state.shift * (state.filter.estimate().use - usual) < 0;
  if (turned) state.shift = 0;
  const double share = thresholds.conditions[static_cast<std::size_t>(Condition::grease_use_shift)].smallest_shift.value_or(100 * shift_share) / 100;
  const Estimate e = state.filter.estimate();
  const double difference = e.use - usual;
  const double sure = shift_errors * std::hypot(e.use_sd, double{state.usual_sd});
  if (std::abs(difference) > std::max(share * usual, sure)) {
    // A refill too small to be seen looks like a lower use for a while: less use must last.
    if (state.shifted_pct <= 0) state.shifted_pct = 1e-3F;
    if (double{state.shifted_pct} >= (difference > 0 ? over_use_lasts_pct : under_use_lasts_pct)) state.shift = difference > 0 ? std::int8_t{1} : std::int8_t{-1};
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
  state.usual_use += static_cast<float>(std::min(1.0, used_pct / usual_memory_pct)) * static_cast<float>(e.use - double{state.usual_use});
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
  const Estimate before = state.filter.estimate();
  const double a_turn = state.days_sum > 0 ? before.use * double{state.nominal_sum} / double{state.days_sum} * double{state.turn_s} / 86400 : 1;
  state.filter.read(mean, reading_sd(state, block.readings, a_turn));
  judge_use_shift(state, context.thresholds);
  const double moved_by = std::max({0.6, 0.75 * double{state.quantum}, 2.5 * std::sqrt(double{state.noise_var})});
  if (std::abs(mean - double{state.still.reading}) > moved_by)
    state.still = {static_cast<float>(mean), static_cast<float>(before.level), static_cast<float>(before.use), 0};
}

void check_stuck(State& state) {
  if (state.doubt != Doubt::none || !state.level_known || state.still.reading < -50) return;
  if (state.usual_use <= 0) return;
  // After a refill the follower may be as far below the level as it later is above it.
  const double sticks = stick_pct.back() * (state.filter.calm.back().anchored ? 1.3 : 2.3);
  const double longest = sticks + 1.5 * double{state.quantum} + 1;
  const double used = double{state.still.use} * double{state.still.nominal};
  if (used < longest || !state.last_reading_at || (state.last_turn && seconds_between(*state.last_reading_at, *state.last_turn) > 2 * 86400.0)) return;
  state.doubt = Doubt::stuck;
  const double use = double{state.still.use};
  const double use_sd = std::max(state.filter.estimate().use_sd, 0.02 * use);
  state.filter.set_level(double{state.still.level} - used, 1.0 + 0.05 * used);
  state.filter.start_use(use, use_sd);
  state.bins = {};
}

struct TurnUse {
  double nominal = 1;
  double spread = 0;
};

TurnUse use_of(const State& state, const HalfCycle& turn, const StationDesign& design) {
  const bool known = state.designed && static_cast<std::size_t>(turn.line) <= design.lines.size();
  const double full = known ? nominal_of(design, turn.line) : 1;
  // Where the target is not known reconstruction cannot say that it was reached.
  if (!turn.settings.target_bar && turn.outcome != Outcome::unclear) return {full, turn_spread * full};
  switch (turn.outcome) {
    case Outcome::reached: return {full, turn_spread * full};
    case Outcome::not_reached: return {full, 0.15 * full};
    case Outcome::interrupted: return {0.7 * full, 0.3 * full};
    case Outcome::unclear: return {full, 0.2 * full};
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
    state.misses = static_cast<std::uint8_t>(state.misses << 1 | (turn.outcome == Outcome::not_reached ? 1 : 0));
  if (!turn.time_to_pressure_s) return;
  const auto i = static_cast<std::size_t>(turn.line - 1);
  const auto value = static_cast<float>(*turn.time_to_pressure_s);
  float& usual = state.time_usual[i];
  float& now = state.time_now[i];
  if (usual <= 0) usual = now = value;
  if (state.turns_timed < 250) ++state.turns_timed;
  // Not while more is used than usual: what is under suspicion must not become the yardstick.
  const bool suspected = state.usual_use > 0 && state.filter.estimate().use > time_suspected * double{state.usual_use};
  if (!suspected) usual += std::max(time_slow, 1.0F / static_cast<float>(state.turns_timed)) * (value - usual);
  now += time_quick * (value - now);
}

void remember_use(State& state) {
  if (state.use_count == state.uses.size()) {
    std::move(state.uses.begin() + 1, state.uses.end(), state.uses.begin());
    --state.use_count;
  }
  state.uses[state.use_count++] = static_cast<float>(state.filter.estimate().use);
}

ReservoirDay day_row(const State& state, Time day, Time at, const Context& context) {
  const Life life = life_at(state, at, context);
  return {day, context.id, life.level_pct, life.use_pct_per_day, life.days, life.days_low, life.days_high};
}

// Tells the days that ended before `time`. What is not heard of is told as it was last known, less the time gone.
void turn_days(State& state, Time time, Time judged, const Context& context, std::vector<Output>& out) {
  if (!state.day) {
    state.day = midnight_of(time);
    return;
  }
  if (midnight_of(time) <= *state.day) return;
  for (int told = 0; *state.day < midnight_of(time); ++told) {
    const Time end = *state.day + std::chrono::days{1};
    if (state.level_known && told == 0) remember_use(state);
    if (told < days_at_once_max) out.emplace_back(day_row(state, *state.day, end, context));
    state.day = end;
  }
  judge_conditions(state, judged, context, true, out);
}

// Returns whether the reading is to be used.
bool fits(State& state, const LevelReading& reading, double level) {
  const Estimate e = state.filter.estimate();
  const double expected = state.filter.expected_reading();
  const double noise = std::sqrt(double{state.noise_var}) + double{state.quantum};
  const bool told = state.told_at && std::abs(seconds_between(*state.told_at, reading.time)) < told_s;
  const double rise = (told ? refill_pct_min_told : refill_pct_min) + 1.5 * noise + std::min(3 * e.level_sd, 10.0);
  const double fall = jump_pct_min + 2 * noise + 4 * e.level_sd;
  if (level > expected + rise) {
    if (++state.odd < 2) return false;
    state.odd = 0;
    state.refilling_since = reading.time;
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

// A reading that was doubted moves again, or comes back to where the level must be.
void check_recovery(State& state, const LevelReading& reading, double level) {
  const double moved_by = std::max({1.5, 2 * double{state.quantum}, 4 * std::sqrt(double{state.noise_var})});
  const Estimate e = state.filter.estimate();
  const bool back = state.doubt == Doubt::fell && std::abs(level - e.level) < 4 + 3 * e.level_sd;
  const bool moves = std::abs(level - double{state.still.reading}) > moved_by;
  if (state.doubt == Doubt::reported || !(back || moves)) {
    state.odd = 0;
    return;
  }
  if (++state.odd < 3) return;
  state.odd = 0;
  state.doubt = Doubt::none;
  state.refilling_since = reading.time;
  restart_level(state, level);
}

void learn_noise(State& state, const LevelReading& reading, double level) {
  const bool near = state.last_reading_at && seconds_between(*state.last_reading_at, reading.time) < 3600;
  const double step = std::abs(level - double{state.last_reading});
  if (near && step < 3) {
    state.noise_var += 0.02F * (static_cast<float>(0.5 * step * step) - state.noise_var);
    if (step > 0.04 && (state.quantum <= 0 || static_cast<float>(step) < state.quantum)) state.quantum = static_cast<float>(step);
  }
  state.last_reading = static_cast<float>(level);
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
    if (seconds_between(*state.refilling_since, reading.time) > refill_s) state.refilling_since.reset();
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

// Nothing reads the level: with the switch open it is over its mark (mean and variance of the truncated normal law).
void mind_switch(State& state, const Context& context) {
  if (!state.switch_seen || state.switch_made || !state.level_known || (state.sensor_seen && state.doubt == Doubt::none)) return;
  const double mark = context.design.low_pct.value_or(low_pct_default);
  const Estimate e = state.filter.estimate();
  const double a = (mark - e.level) / e.level_sd;
  if (a < -1.5) return;
  const double hazard = statistics::normal_density(a) / std::max(statistics::normal_probability(-a), 1e-12);
  const double shift = e.level_sd * hazard;
  state.pushed += static_cast<float>(shift);
  guess_level(state, e.level + shift, std::max(1.0, e.level_sd * std::sqrt(std::max(0.05, 1 + a * hazard - hazard * hazard))));
  if (double{state.pushed} < pushed_pct_most) return;
  guess_level(state, anywhere_pct, anywhere_spread_pct);
  state.pushed = 0;
  state.since_refill = -1;
}

}  // namespace

void take(State& state, const HalfCycle& turn, Time received, const Context& context, std::vector<Output>& out) {
  if (turn.line < 1 || turn.line > lines_max) return;
  if (!state.started) start(state, context.design);
  if (state.last_turn && turn.pump_start <= *state.last_turn) return;
  const Time judged = judged_at(turn.pump_stop, received);
  turn_days(state, turn.pump_stop, judged, context, out);
  state.last_event = std::max(state.last_event, turn.pump_stop);
  use_readings(state, turn.pump_start, context);
  const TurnUse use = use_of(state, turn, context.design);
  double missed = 0;
  count_turn(state, use, turn.pump_start, missed);
  if (missed > 0) {
    // Turns may have come unseen.
    const double unseen = missed * use.nominal;
    state.filter.turn(0.5 * unseen, 0.5 * unseen);
      state.still.nominal = 0;
    state.still.reading = -100;
    state.since_refill = -1;
  }
  if (state.last_turn) state.filter.wander(std::min(10.0, days_between(*state.last_turn, turn.pump_start)));
  state.last_turn = turn.pump_start;
  state.filter.turn(use.nominal, use.spread);
  state.still.nominal += static_cast<float>(use.nominal);
  if (state.since_refill >= 0) state.since_refill += static_cast<float>(use.nominal);
  const double used_pct = use.nominal * state.filter.estimate().use;
  if (state.level_known && state.doubt == Doubt::none) learn_usual(state, used_pct);
  follow_time(state, turn);
  check_stuck(state);
  mind_switch(state, context);
  judge_conditions(state, judged, context, false, out);
}

void take(State& state, const LevelReading& reading, Time received, const Context& context, std::vector<Output>& out) {
  if (!state.started) start(state, context.design);
  if (state.last_reading_at && reading.time <= *state.last_reading_at) return;
  if (!reading.level_pct && !reading.level_low) return;
  const Time judged = judged_at(reading.time, received);
  turn_days(state, reading.time, judged, context, out);
  state.last_event = std::max(state.last_event, reading.time);
  const Doubt doubt_before = state.doubt;
  const bool refilling_before = state.refilling_since.has_value();
  const bool low_before = state.switch_made && state.low_readings >= 2;
  if (reading.level_low) take_switch(state, *reading.level_low, context);
  // A reading during a turn is off by a part of one turn's use, which is less than the sensor's noise: it is used too.
  if (!reading.at_rest && state.was_at_rest) state.bins.cut = true;
  state.was_at_rest = reading.at_rest;
  if (reading.level_pct) take_level(state, reading, *reading.level_pct);
  if (reading.level_pct) state.last_reading_at = reading.time;
  const bool long_at_rest = !state.last_turn || seconds_between(*state.last_turn, reading.time) > std::max(no_turns_s, 2.2 * double{state.turn_s});
  if (long_at_rest && state.bins.count > 3) {
    state.filter.loosen_level(0.2);
    use_readings(state, state.bins.bin[3].start, context);
  }
  if (doubt_before != state.doubt || refilling_before != state.refilling_since.has_value() ||
      low_before != (state.switch_made && state.low_readings >= 2))
    judge_conditions(state, judged, context, false, out);
}

void take(State& state, const ServiceNote& note, Time received, const Context& context, std::vector<Output>& out) {
  if (!state.started) start(state, context.design);
  if (note.kind == ServiceKind::repaired) {
    state.shift = 0;
      state.filter.loosen_use(0.1 * state.filter.estimate().use);
    judge_conditions(state, judged_at(note.time, received), context, false, out);
    return;
  }
  if (note.kind != ServiceKind::refilled) return;
  state.told_at = note.time;
  const bool sensor = state.sensor_seen && state.doubt == Doubt::none;
  if (sensor) return;
  guess_refill(state);
  state.refilling_since = note.time;
  judge_conditions(state, judged_at(note.time, received), context, false, out);
  state.refilling_since.reset();
}

void take(State& state, const SensorReport& report, Time received, const Context& context, std::vector<Output>& out) {
  if (report.line) return;
  if (!state.started) start(state, context.design);
  if (report.over && state.doubt == Doubt::reported) state.doubt = Doubt::none;
  if (!report.over && state.doubt == Doubt::none) state.doubt = Doubt::reported;
  judge_conditions(state, judged_at(report.time, received), context, false, out);
}

std::optional<Time> wake_at(const State& state) {
  if (!state.day) return std::nullopt;
  return later_by_s(*state.day + std::chrono::days{1}, day_grace_s);
}

void advance_to(State& state, Time now, const Context& context, std::vector<Output>& out) {
  for (auto wake = wake_at(state); wake && *wake <= now; wake = wake_at(state))
    turn_days(state, *state.day + std::chrono::days{1}, *wake, context, out);
}

}  // namespace driftline::rules::reservoir
