// What each event does to the reservoir's state.
#include "rules/reservoir/reservoir.h"

#include <algorithm>
#include <cmath>

#include "rules/reservoir/conditions.h"
#include "rules/reservoir/steps.h"

namespace driftline::rules::reservoir {
namespace {

constexpr double late_after_s = 900;  // what comes later than this is judged at its coming
constexpr double day_grace_s = 6 * 3600.0;
constexpr double no_turns_s = 6 * 3600.0;  // readings are used without a turn after this

Time midnight_of(Time time) {
  return std::chrono::floor<std::chrono::days>(time);
}
Time judged_at(Time event, Time received) {
  return seconds_between(event, received) > late_after_s ? received : event;
}

ReservoirDay day_row(const State& state, Time day, Time at, const Context& context) {
  const Life life = life_at(state, at, context);
  return {day, context.id, life.level_pct, life.use_pct_per_day, life.days, life.days_low, life.days_high};
}

// Tells the days that ended before `time`. What is not heard of is told as it was last known, less the time
// gone.
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
}  // namespace

void take(State& state, const HalfCycle& turn, Time received, const Context& context,
          std::vector<Output>& out) {
  if (turn.line < 1 || turn.line > lines_max) return;
  if (!state.started) start(state, context.design);
  if (state.last_turn && turn.pump_start <= *state.last_turn) return;
  const Time judged = judged_at(turn.pump_stop, received);
  turn_days(state, turn.pump_stop, judged, context, out);
  state.last_event = std::max(state.last_event, turn.pump_stop);
  use_readings(state, turn.pump_start, context);
  end_rest(state);
  const TurnUse use = use_of(state, turn, context.design);
  double missed = 0;
  count_turn(state, use, turn.pump_start, missed);
  if (missed > 0) {
    // Turns may have come unseen.
    const double unseen = missed * use.nominal;
    state.filter.turn(0.5 * unseen, 0.5 * unseen);
    state.still.nominal = 0;
    if (state.doubt == Doubt::none) state.still.reading = -100;  // a doubted one goes on from where it stands
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
  mind_floors(state, context, turn.outcome == Outcome::reached);
  judge_conditions(state, judged, context, false, out);
}

void take(State& state, const LevelReading& reading, Time received, const Context& context,
          std::vector<Output>& out) {
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
  // A reading during a turn is off by a part of one turn's use, which is less than the sensor's noise: it is
  // used too.
  if (!reading.at_rest && state.was_at_rest) state.bins.cut = true;
  state.was_at_rest = reading.at_rest;
  if (reading.level_pct) take_level(state, reading, *reading.level_pct);
  if (reading.level_pct) state.last_reading_at = reading.time;
  const std::int8_t shift_before = state.shift;
  const double rests_s = std::max(no_turns_s, 2.2 * double{state.turn_s});
  const bool long_at_rest = !state.last_turn || seconds_between(*state.last_turn, reading.time) > rests_s;
  if (long_at_rest && state.bins.count > 3) {
    state.filter.loosen_level(0.2);
    use_readings(state, state.bins.bin[3].start, context);
    mind_rest(state, reading.time, rests_s);
  }
  if (doubt_before != state.doubt || shift_before != state.shift ||
      refilling_before != state.refilling_since.has_value() ||
      low_before != (state.switch_made && state.low_readings >= 2))
    judge_conditions(state, judged, context, false, out);
}

void take(State& state, const ServiceNote& note, Time received, const Context& context,
          std::vector<Output>& out) {
  if (!state.started) start(state, context.design);
  if (note.kind == ServiceKind::repaired) {
    state.shift = 0;
    expect_usual_use(state);
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

void take(State& state, const SensorReport& report, Time received, const Context& context,
          std::vector<Output>& out) {
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
