// All that is kept of one station between inputs: a value. At rest about 3 kB at most (State.at_rest_it_is_small).
#pragma once

#include <cstdint>
#include <optional>

#include "gateway/cycles/clock_watch.h"
#include "gateway/cycles/lane.h"
#include "gateway/cycles/late_data.h"
#include "gateway/cycles/readings.h"
#include "gateway/cycles/reorder_window.h"
#include "gateway/cycles/sample_counts.h"
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
  SampleCounts counts;                    // of what neither clock nor late data keep count of; held is not kept
  bool operator==(const State&) const = default;
};

}  // namespace driftline::cycles
