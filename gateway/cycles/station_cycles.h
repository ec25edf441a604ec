// Samples of one station to half-cycles and readings: reorder window, then reconstruction. Pure: time comes in as data.
//
// The state is a value. `take` and `advance_to` change it and append what was settled, in order, to `out`.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/cycles/sample_counts.h"
#include "gateway/telemetry/sample.h"
#include "rules/records/settings.h"
#include "rules/records/station_event.h"

namespace driftline::cycles {

struct State;  // gateway/cycles/state.h

// `received` is the gateway's clock and never goes back. `fallback` is used where the controller has announced nothing.
void take(State& state, const Sample& sample, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out);
void take(State& state, const ControllerSettings& announced, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out);
void take(State& state, const PresenceChange& presence, Time received, const ControllerSettings& fallback,
          std::vector<StationEvent>& out);

// What became of every sample taken so far.
[[nodiscard]] SampleCounts counted(const State& state);

// The next gateway time at which waiting alone settles something; empty: never.
[[nodiscard]] std::optional<Time> wake_at(const State& state);

// Nothing came until `now`. Calling it late, or more than once, gives what calling it at each wake_at would have given.
void advance_to(State& state, Time now, const ControllerSettings& fallback, std::vector<StationEvent>& out);

// The end of a recording: settles what can be settled; an open turn comes out as what is known of it.
void finish(State& state, const ControllerSettings& fallback, std::vector<StationEvent>& out);

// Bytes with a version in front; `load` is empty for bytes of an unknown version or damaged ones: rebuild from the journal.
[[nodiscard]] std::string save(const State& state);
[[nodiscard]] std::optional<State> load(std::string_view bytes);

}  // namespace driftline::cycles
