#include "gateway/cycles/station_cycles.h"

#include <algorithm>
#include <span>

#include "gateway/cycles/limits.h"
#include "gateway/cycles/state.h"

namespace driftline::cycles {
namespace {

// By the gateway's clock. A sender that batches may have older samples on the way behind a newer one.
double window_wait_s(const State& state) { return lateness_s + state.clock.batching_s(); }

void hand_over(std::vector<HalfCycle>& turns, std::vector<StationEvent>& out) {
  for (HalfCycle& turn : turns) out.emplace_back(std::move(turn));
  turns.clear();
}

void fold(State& state, std::span<const HeldSample> due, const ControllerSettings& settings, std::vector<StationEvent>& out) {
  std::vector<HalfCycle> turns;
  for (HeldSample held : due) {
    state.readings.see(held.sample, !state.live.turn_open() && !held.sample.pump.value_or(false), out);
    ++(state.live.step(held, settings, state.habits, turns, &state.late.holes) ? state.counts.used : state.counts.doubled);
    if (state.late.holes.size() > holes_max) state.late.keep_bounds(state.habits, turns);
    if (!turns.empty()) hand_over(turns, out);
  }
}

void settle(State& state, Time now, const ControllerSettings& settings, std::vector<StationEvent>& out) {
  fold(state, state.window.release(now, window_wait_s(state)), settings, out);
}

// False: it was not needed.
bool hold(State& state, const HeldSample& held) {
  const Insertion insertion = state.window.insert(held);
  if (insertion == Insertion::held) return true;
  ++(insertion == Insertion::doubled ? state.counts.doubled : state.counts.behind);
  return false;
}

// The first samples of a clock that was set: what was held of the old time goes first.
void change_clock(State& state, const ControllerSettings& settings, std::vector<StationEvent>& out) {
  fold(state, state.window.release_all(), settings, out);
  state.window.forget();
  std::vector<HalfCycle> turns;
  state.late.clock_moved(state.habits, turns);
  hand_over(turns, out);
  const std::int64_t by_ms = state.clock.step_ms();
  state.readings.clock_moved(by_ms);
  if (state.habits.due_from) *state.habits.due_from += std::chrono::milliseconds{by_ms};
  std::vector<HeldSample> waiting = state.clock.take_waiting();
  if (!waiting.empty()) waiting.front().step_ms = by_ms;
  for (const HeldSample& held : waiting) hold(state, held);
}

}  // namespace

void take(State& state, const Sample& sample, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  if (!state.last_heartbeat || seconds_between(*state.last_heartbeat, received) >= heartbeat_every_s) {
    state.last_heartbeat = received;
    out.emplace_back(Heartbeat{received, sample.time});
  }
  const ControllerSettings settings = overlay(fallback, state.announced);
  HeldSample held{sample, received};
  const bool in_hole = !state.late.holes.empty() && state.late.in_hole(sample.time);
  switch (state.clock.judge(held, state.window.released_to(), in_hole)) {
    case ClockVerdict::live:
      if (!hold(state, held)) return;
      break;
    case ClockVerdict::waiting:
      return;
    case ClockVerdict::behind:
      if (in_hole) {
        std::vector<HalfCycle> turns;
        state.late.take(held, settings, state.habits, state.live, turns);
        hand_over(turns, out);
      } else {
        ++state.counts.behind;
      }
      return;
    case ClockVerdict::stepped:
      change_clock(state, settings, out);
      break;
  }
  settle(state, received, settings, out);
}

void take(State& state, const ControllerSettings& announced, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  const ControllerSettings before = overlay(fallback, state.announced);
  state.announced = overlay(state.announced, announced);
  const ControllerSettings after = overlay(fallback, state.announced);
  if (before != after) out.emplace_back(SettingsChange{state.clock.station_time(received).value_or(received), before, after});
}

void take(State& state, const PresenceChange& presence, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  out.emplace_back(presence);
}

SampleCounts counted(const State& state) {
  SampleCounts out = state.counts;
  out += state.clock.counts();
  out += state.late.counts();
  out.held += state.window.size();
  return out;
}

std::optional<Time> wake_at(const State& state) {
  std::optional<Time> wake;
  for (const auto& at : {state.window.wake_at(window_wait_s(state)), state.live.wake_at(), state.late.wake_at()}) {
    if (at && (!wake || *at < *wake)) wake = at;
  }
  return wake;
}

void advance_to(State& state, Time now, const ControllerSettings& fallback, std::vector<StationEvent>& out) {
  while (const auto wake = wake_at(state)) {
    if (*wake > now) return;
    const ControllerSettings settings = overlay(fallback, state.announced);
    settle(state, *wake, settings, out);
    std::vector<HalfCycle> turns;
    state.live.advance_to(*wake, state.habits, turns, &state.late.holes);
    state.late.advance_to(*wake, settings, state.habits, state.live, turns);
    hand_over(turns, out);
  }
}

void finish(State& state, const ControllerSettings& fallback, std::vector<StationEvent>& out) {
  const ControllerSettings settings = overlay(fallback, state.announced);
  fold(state, state.window.release_all(), settings, out);
  state.clock.give_up();
  std::vector<HalfCycle> turns;
  state.late.finish(settings, state.habits, state.live, turns);
  state.live.finish(state.habits, turns);
  hand_over(turns, out);
}

}  // namespace driftline::cycles
