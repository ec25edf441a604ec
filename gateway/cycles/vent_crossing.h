// When a line was vented: between samples, or carried on beyond them as far as can be known.
#pragma once

#include <optional>
#include <span>

#include "gateway/cycles/crossing.h"

namespace driftline::cycles {

// Seconds on the axis of the points until the pressure has fallen to `limit_bar`; empty: not to be known.
//
// With samples close about the limit: an exponential towards `floor_bar` through them. Where fast sampling ended before, the
// fall is carried on: the logarithm of the pressure above the floor falls ever flatter, so the tangent at the end of the fast
// samples comes too early, and the chord to the next sample, if there is one, too late. How much flatter it gets is read
// from the samples before the end, as far as they show it. `error_s` holds that, the noise and what the floor may be wrong
// by; beyond an eighth of the time since `from_s`, the pump's stop, no figure is given.
[[nodiscard]] std::optional<Crossing> vent_crossing(std::span<const LinePoint> vent, double from_s, double limit_bar, double floor_bar);

}  // namespace driftline::cycles
