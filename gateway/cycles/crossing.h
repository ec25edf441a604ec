// When the target was met: between samples.
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

}  // namespace driftline::cycles
