// The bounds of what is taken in, each with its reason.
#pragma once

#include <cstddef>
#include <cstdint>

namespace driftline::telemetry_limits {

// A day of samples at the slowest rate fits into one message; a broker's own default bound is far above.
inline constexpr std::size_t payload_bytes_max = 4UL * 1024 * 1024;
// Our own shape needs three levels; the rest is room for fields that are not ours.
inline constexpr std::size_t payload_depth_max = 32;
// A day at 0.2 Hz is 17,280 samples. Longer batches are used up to here.
inline constexpr std::size_t samples_per_message_max = 20'000;
static_assert(payload_bytes_max / samples_per_message_max >= 200);  // a full batch of full samples must fit

inline constexpr std::size_t id_bytes_max = 64;      // site and station, from the contract
inline constexpr std::size_t note_bytes_max = 2000;  // a person's note: a page of text
inline constexpr std::size_t by_bytes_max = 320;     // a name of 80 characters

// What a reading may be before it is refused. Wider than any sensor's range on purpose: a reading that a sensor can send
// but a line cannot hold is for the rules to judge (a doubtful sensor), not for the decoder to hide.
inline constexpr double pressure_bar_min = -50.0;
inline constexpr double pressure_bar_max = 1000.0;
inline constexpr double level_pct_min = -5.0;  // a level sensor's noise and offset around empty and full
inline constexpr double level_pct_max = 105.0;
inline constexpr double temp_c_min = -90.0;
inline constexpr double temp_c_max = 150.0;

// What a controller may be set to.
inline constexpr double cycle_s_max = 31.0 * 86400;
inline constexpr double pump_limit_s_max = 86400;
inline constexpr double target_bar_max = 1000;
inline constexpr double residual_bar_max = 1000;

// A clock that is not set starts in 1970, 1980 or 2000, or at the day its program was built. A batch from an outage is hours
// or days late, never a year; a clock that is wrong by less than that still tells durations, which is what counts.
inline constexpr std::int64_t time_ms_min = 946'684'800'000;  // 2000-01-01T00:00:00Z
inline constexpr double days_from_received_max = 366;

inline constexpr std::size_t quoted_bytes_max = 60;  // of a payload's text in a fault

// Sparkplug B: a birth lists every metric of a device, and each metric's alias is remembered. The spare room is for nodes
// that say far more than we listen to; at the bound a node or device is refused and said.
inline constexpr std::size_t metrics_per_message_max = 10'000;
inline constexpr std::size_t aliases_per_node_max = 20'000;
inline constexpr std::size_t devices_per_node_max = 1'000;
inline constexpr std::size_t nodes_max = 2'000;

// A recorded line holds a payload, in base64 at worst, a topic and a time.
inline constexpr std::size_t record_bytes_max = payload_bytes_max / 3 * 4 + 4 + 256UL * 1024;
inline constexpr std::size_t read_buffer_bytes = 256UL * 1024;

}  // namespace driftline::telemetry_limits
