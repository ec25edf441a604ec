#include "gateway/cycles/station_cycles.h"

#include "gateway/cycles/limits.h"
#include "gateway/cycles/state.h"

namespace driftline::cycles {
namespace {

void tell_level(State& state, const Sample& sample, std::vector<StationEvent>& out) {
  const bool given = sample.level_pct || sample.level_low || sample.temp_c;
  const bool switched = sample.level_low && sample.level_low != state.level_low;
  if (sample.level_pct) state.level_pct = sample.level_pct;
  if (sample.level_low) state.level_low = sample.level_low;
  if (sample.temp_c) state.temp_c = sample.temp_c;
  if (!given) return;
  if (!switched && state.last_level && std::abs(seconds_between(*state.last_level, sample.time)) < level_every_s) return;
  state.last_level = sample.time;
  out.emplace_back(LevelReading{sample.time, sample.level_pct, sample.level_low, sample.temp_c, !state.live.turn_open()});
}

void fold(State& state, const std::vector<HeldSample>& due, const ControllerSettings& fallback, std::vector<StationEvent>& out) {
  std::vector<HalfCycle> turns;
  for (const HeldSample& held : due) {
    turns.clear();
    state.live.step(held, overlay(fallback, state.announced), state.habits, turns);
    for (HalfCycle& turn : turns) out.emplace_back(std::move(turn));
    tell_level(state, held.sample, out);
    state.last_event = held.sample.time;
  }
}

}  // namespace

void take(State& state, const Sample& sample, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  if (!state.last_heartbeat || seconds_between(*state.last_heartbeat, received) >= heartbeat_every_s) {
    state.last_heartbeat = received;
    out.emplace_back(Heartbeat{received, sample.time});
  }
  if (state.window.insert(sample, received) != Insertion::held) return;
  std::vector<HeldSample> due;
  state.window.release(received, due);
  fold(state, due, fallback, out);
}

void take(State& state, const ControllerSettings& announced, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  const ControllerSettings before = overlay(fallback, state.announced);
  state.announced = overlay(state.announced, announced);
  const ControllerSettings after = overlay(fallback, state.announced);
  if (before != after) out.emplace_back(SettingsChange{received, before, after});
}

void take(State& state, const PresenceChange& presence, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out) {
  advance_to(state, received, fallback, out);
  out.emplace_back(presence);
}

std::optional<Time> wake_at(const State& state) {
  const auto window = state.window.wake_at();
  const auto lane = state.live.wake_at();
  if (window && lane) return std::min(*window, *lane);
  return window ? window : lane;
}

void advance_to(State& state, Time now, const ControllerSettings& fallback, std::vector<StationEvent>& out) {
  while (const auto wake = wake_at(state)) {
    if (*wake > now) return;
    std::vector<HeldSample> due;
    state.window.release(*wake, due);
    fold(state, due, fallback, out);
    std::vector<HalfCycle> turns;
    state.live.advance_to(*wake, state.habits, turns);
    for (HalfCycle& turn : turns) out.emplace_back(std::move(turn));
  }
}

void finish(State& state, const ControllerSettings& fallback, std::vector<StationEvent>& out) {
  std::vector<HeldSample> due;
  state.window.release_all(due);
  fold(state, due, fallback, out);
  std::vector<HalfCycle> turns;
  state.live.finish(state.habits, turns);
  for (HalfCycle& turn : turns) out.emplace_back(std::move(turn));
}

}  // namespace driftline::cycles
