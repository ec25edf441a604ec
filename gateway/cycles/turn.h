// One turn while it goes on: what was seen of it, before any figure is made of it.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "gateway/cycles/start_habit.h"
#include "gateway/cycles/trace.h"
#include "rules/records/half_cycle.h"
#include "rules/records/settings.h"

namespace driftline::cycles {

struct Turn {
  Trace rest;   // the last samples before it, pump not running
  Trace run;    // pump running
  Trace vent;   // after the pump stop
  bool pump_given = false;       // the controller says whether the pump runs
  std::optional<int> line;       // as the controller says
  bool start_edged = false;      // the first sample of the run is one of the pump's start (by cadence or flag)
  int missing_before = 0;        // samples missing before the first of the run, as far as seq tells
  bool head_missing = false;     // when it started cannot be known
  bool tail_missing = false;     // samples are missing after the last of the run
  bool restarted = false;        // the controller restarted during or right after the run
  bool after_hole = false;       // it was going on already when the stream came back
  bool clock_stepped = false;
  std::int64_t stepped_ms = 0;   // since its start, which is told in the clock of its time
  bool late = false;             // any of its samples came late
  int samples = 0;
  std::int64_t largest_gap_ms = 0;
  std::int64_t interval_ms = 0;  // smallest spacing seen in the run; 0: not known
  std::int64_t beat_ms = 0;      // spacing about its start, where the run was found in the rest; 0: the run shows it
  std::optional<double> level_pct;
  std::optional<double> temp_c;
  ControllerSettings settings;   // in force when it started
  bool operator==(const Turn&) const = default;

  [[nodiscard]] bool venting() const { return !vent.points.empty(); }
};

// What earlier turns of one line taught.
struct LineHabit {
  StartHabit start;
  std::optional<double> run_on_s;         // target met until the pump stops
  std::optional<double> steep_bar_per_s;  // slope of the rise where it meets the target
  std::optional<double> floor_bar;        // what a vent falls to
  std::optional<double> run_s;            // usual pump run
  bool operator==(const LineHabit&) const = default;
};

// What earlier turns of the station taught.
struct Habits {
  std::vector<LineHabit> lines;  // line 1 first; as many as had turns
  float start_edges = 0;  // share of turns whose first sample came off the beat: a sender that adds one at the start
  float stop_edges = 0;   // the same for the first sample after the stop
  std::optional<Time> due_from;     // start of the last turn that came when it was due
  std::optional<Time> astray_from;  // start of the last one that did not
  LineHabit& of_line(int line);
  bool operator==(const Habits&) const = default;
};

// The line that was served: as the controller says, else the one whose pressure rose most.
[[nodiscard]] int line_served(const Turn& turn);

// Every figure that can be known of the turn.
[[nodiscard]] HalfCycle told(const Turn& turn, Habits& habits);

// The same, to the end of `out`, unless there was no turn: without a pump flag a push from outside looks like the
// beginning of one.
void tell(const Turn& turn, Habits& habits, std::vector<HalfCycle>& out);

}  // namespace driftline::cycles
