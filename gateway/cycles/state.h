// All that is kept of one station between inputs: a value. At rest about 3 kB at most (tests/unit/cycles/state_test.cpp).
#pragma once

#include <cstdint>
#include <optional>

#include "gateway/cycles/clock_watch.h"
#include "gateway/cycles/lane.h"
#include "gateway/cycles/late_data.h"
#include "gateway/cycles/readings.h"
#include "gateway/cycles/reorder_window.h"
#include "rules/records/settings.h"

namespace driftline::cycles {

struct State {
  ClockWatch clock;
  ReorderWindow window;
  Lane live;
  LateData late;
  Readings readings;
  Habits habits;
  ControllerSettings announced;           // laid over the fallback
  std::optional<Time> last_heartbeat;     // received
  std::uint64_t samples_behind = 0;       // not used: behind every window, or told before
  bool operator==(const State&) const = default;
};

}  // namespace driftline::cycles
