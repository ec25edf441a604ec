// The only file pair that reads a clock. Everything else is told the time (tests/unit/house_test.cpp looks
// for others).
#pragma once

#include <chrono>

#include "rules/records/time.h"

namespace driftline {

[[nodiscard]] Time wall_now();                        // may step, in either direction
[[nodiscard]] std::chrono::nanoseconds steady_now();  // for intervals
[[nodiscard]] std::chrono::nanoseconds coarse_now();  // as steady, to about 4 ms, at a tenth of its price
[[nodiscard]] std::chrono::nanoseconds cpu_now();     // processor time of this process, all threads

}  // namespace driftline
