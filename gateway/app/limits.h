// Bounds of the composition, each with its reason.
#pragma once

#include <cstddef>

namespace driftline {

// At 6 kB of state a station this is 120 MB: what a small gateway computer has to spare. Messages of further stations
// are refused and counted.
inline constexpr std::size_t stations_max = 20'000;

// Messages in one step of a replay: large enough that threads are worth starting, small enough to stay in cache.
inline constexpr std::size_t replay_batch_messages = 16'384;

// A recording that ends shortly before midnight has shown the whole day.
inline constexpr double day_end_slack_s = 600;

}  // namespace driftline
