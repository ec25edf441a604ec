// The shape of a rise, as diagnosis reads it.
#pragma once

#include <optional>
#include <span>

#include "gateway/cycles/trace.h"
#include "rules/records/half_cycle.h"

namespace driftline::cycles {

struct RiseFrame {
  double start_s = 0;  // pump start and end of the rise (target met, else pump stop), on the axis of the points
  double end_s = 0;
  double start_bar = 0;
  double end_bar = 0;
  std::optional<double> target_bar;
};

// The plateau is the longest stretch, beyond the first rise, whose slope stays under 0.6 of the whole rise's mean slope,
// if it takes at least a twelfth of the rise. Common practice, no source: between fill and steep rise the devices move
// at nearly constant pressure.
[[nodiscard]] RiseShape rise_shape(std::span<const LinePoint> run, const RiseFrame& frame);

}  // namespace driftline::cycles
