// All that is kept of one station between inputs: a value. At rest about 3 kB at most.
#pragma once

#include <array>
#include <optional>

#include "gateway/cycles/lane.h"
#include "gateway/cycles/reorder_window.h"
#include "rules/records/settings.h"

namespace driftline::cycles {

struct State {
  ReorderWindow window;
  Lane live;
  Habits habits;
  ControllerSettings announced;           // laid over the fallback
  std::optional<Time> last_event;         // newest event time released
  std::optional<Time> last_heartbeat;     // received
  std::optional<Time> last_level;         // event time of the last level told
  std::optional<double> level_pct;        // as last given
  std::optional<bool> level_low;
  std::optional<double> temp_c;
  bool operator==(const State&) const = default;
};

}  // namespace driftline::cycles
