// Bounds of this room, each with its reason.
#pragma once

#include <cstddef>

namespace driftline::cycles {

// Reorder window. Senders deliver out of order by seconds to some tens of them (retries of one message); what is hours
// late takes the second lane. A warning is not hurt by half a minute.
inline constexpr double lateness_s = 30.0;
inline constexpr double samples_per_second_max = 10.0;  // the telemetry contract's fastest rate

// Samples held in one window. At the bound the oldest is released early, which costs order, never a sample.
inline constexpr std::size_t window_samples_max = 640;
static_assert(window_samples_max >= 2 * samples_per_second_max * lateness_s,
              "a full window, with every sample doubled, must fit, or late data pushes good data out");

// Points kept of one run and of one vent. Beyond it the middle is thinned; both ends stay whole, because figures are
// read from them.
inline constexpr std::size_t trace_points_max = 512;
inline constexpr std::size_t trace_ends_kept = 160;
static_assert(2 * trace_ends_kept < trace_points_max, "something must be left to thin");
static_assert(trace_ends_kept >= 12 * samples_per_second_max, "the last seconds before the target decide the crossing");

// Samples kept whole of the rest before a start: enough to tell a level from its noise. Older ones are kept this far apart,
// so that a start too soft to show for most of a minute is still there to be seen, in a state that stays small.
inline constexpr std::size_t rest_samples_kept = 16;
inline constexpr double rest_apart_s = 1.5;
inline constexpr std::size_t rest_points_max = 48;
static_assert(rest_apart_s * (rest_points_max - rest_samples_kept - rest_samples_kept / 2) >= 30.0, "half a minute must fit");

// The vent is followed for as long as this after the pump stop, event time. Stiff grease takes minutes.
inline constexpr double vent_watched_s = 900.0;
// A stream that goes quiet for this long after a stop is at rest sampling: the turn is told with what is known.
inline constexpr double vent_quiet_s = 120.0;

// Slower than this is rest sampling: three times the contract's slowest rate for a running pump.
inline constexpr double fast_interval_max_s = 15.0;

// Clocks of such controllers drift by seconds a day: 2e-4 is 17.
inline constexpr double clock_drift_max = 2e-4;
// Below this a change of lag is the network's doing.
inline constexpr double step_noise_ms = 2'000;
// Up to this one sample is believed; a larger step must be borne out by samples at their own pace for step_sure_s.
inline constexpr double step_small_ms = 120'000;
inline constexpr double step_sure_s = 8.0;
// The least lag is trusted once it has not fallen for this long: a backlog that drains makes it fall all the time.
inline constexpr double lag_settled_s = 60.0;
inline constexpr int lag_settled_samples = 20;
inline constexpr std::size_t clock_waiting_max = 256;
static_assert(clock_waiting_max >= 2 * step_sure_s * samples_per_second_max, "the samples that prove a step must fit");
// Came by this much later than usual: not live. Some senders batch by the minute.
inline constexpr double late_arrival_s = 180.0;

// Stretches without samples that late data may still fill, and how long what they cut is held back, gateway's clock.
// A turn cut by a lost link is nobody's emergency; told twice it would be a lie.
inline constexpr std::size_t holes_max = 4;
inline constexpr double hole_kept_s = 12.0 * 3600.0;
// The late lane has had the last of its data when nothing came for this long.
inline constexpr double late_quiet_s = 60.0;

// With more samples than this missing before a run its start cannot be known.
inline constexpr int missing_before_max = 3;

inline constexpr double heartbeat_every_s = 60.0;
// A reading each few minutes holds all that a reservoir does; a jump of the level (a refill) is told sooner.
inline constexpr double level_every_s = 180.0;
inline constexpr double level_jump_pct = 4.0;
inline constexpr double level_jump_every_s = 30.0;
// A gauge is in trouble when it gave nothing usable for so many samples and so long.
inline constexpr int gauge_trouble_samples = 5;
inline constexpr double gauge_trouble_s = 30.0;

}  // namespace driftline::cycles
