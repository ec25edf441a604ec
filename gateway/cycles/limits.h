// Bounds of this room, each with its reason.
#pragma once

#include <cstddef>

namespace driftline::cycles {

// Reorder window. Senders deliver out of order by seconds (retries of one message); what is hours late takes the second
// lane. A warning is not hurt by a few seconds.
inline constexpr double lateness_s = 12.0;
inline constexpr double samples_per_second_max = 10.0;  // the telemetry contract's fastest rate

// Samples held in one window. At the bound the oldest is released early, which costs order, never a sample.
inline constexpr std::size_t window_samples_max = 512;
static_assert(window_samples_max >= 2 * samples_per_second_max * lateness_s,
              "a full window, with every sample doubled, must fit, or late data pushes good data out");

// Points kept of one run and of one vent. Beyond it the middle is thinned; both ends stay whole, because figures are
// read from them.
inline constexpr std::size_t trace_points_max = 512;
inline constexpr std::size_t trace_ends_kept = 160;
static_assert(2 * trace_ends_kept < trace_points_max, "something must be left to thin");
static_assert(trace_ends_kept >= 12 * samples_per_second_max, "the last seconds before the target decide the crossing");

// Samples kept of the rest before a start: enough to tell a level from its noise.
inline constexpr std::size_t rest_samples_kept = 16;

// The vent is followed for as long as this after the pump stop, event time. Stiff grease takes minutes.
inline constexpr double vent_watched_s = 900.0;
// A stream that goes quiet for this long after a stop is at rest sampling: the turn is told with what is known.
inline constexpr double vent_quiet_s = 120.0;

inline constexpr double heartbeat_every_s = 60.0;
inline constexpr double level_every_s = 180.0;

}  // namespace driftline::cycles
