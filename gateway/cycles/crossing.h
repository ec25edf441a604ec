// When the target was met, and when the line was vented: between samples.
#pragma once

#include <optional>
#include <span>

#include "gateway/cycles/trace.h"

namespace driftline::cycles {

struct Crossing {
  double at_s = 0;         // on the axis of the points
  double slope = 0;        // bar per second there
  double error_s = 0;      // standard error expected
};

// The run's points, pump running, and the first time at which it certainly no longer ran (empty: not seen). A pump stops
// within moments of its target, so the crossing lies near the end of the run; one seen long before is noise about a
// pressure just under the target. `steep` is the slope known of this line's earlier turns, used where only one sample
// fell into the steep rise. `stamp_slack_s`: how far stamps may be off one another. `stopped_early`: the
// pump stopped before its limit, which by itself speaks for the target. Empty: the target was not met.
[[nodiscard]] std::optional<Crossing> target_crossing(std::span<const LinePoint> run, std::optional<LinePoint> first_off,
                                                      double target_bar, double interval_s, std::optional<double> steep,
                                                      double stamp_slack_s, bool stopped_early);

// Seconds on the axis of the points until the pressure has fallen to `limit_bar`: an exponential towards `floor_bar`
// through the points about it. Carried on past the last point from at most twelve times the limit (above
// the floor), where no fast sample came later: exact to some per cent of the vent, and the same from turn to turn. Empty: not to be known.
[[nodiscard]] std::optional<Crossing> vent_crossing(std::span<const LinePoint> vent, double limit_bar, double floor_bar);

}  // namespace driftline::cycles
