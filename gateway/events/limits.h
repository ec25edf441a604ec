// Bounds of what is remembered about events.
#pragma once

#include <cstddef>

namespace driftline::events {

// (event, subject) pairs. Subjects can come from outside (a topic), so there must be an end: beyond it they
// are counted together under subject_rest.
inline constexpr std::size_t pairs_max = 50'000;

// Calls of flush (about one a second) from a line until the sum of its repetitions is due.
inline constexpr int fold_flushes = 60;

// Lines of one change of state in such an interval: a link that comes and goes a few times is told as it happens, one that
// flaps is summed up.
inline constexpr int changes_unfolded = 5;

}  // namespace driftline::events
