// The decision interval of a one-sided CUSUM, quick enough to be asked for at every turn.
//
// Siegmund's approximation of the run length in control (Sequential Analysis, 1985; from memory),
//   L = (exp(2kb) - 2kb - 1)/(2k^2),  b = h + overshoot,
// has an overshoot of 1.166 for small k. Here the overshoot is the exact one: a table of b - h over k and L, from the exact run
// length of rules/statistics/run_length.h (cusum_interval), with third-order interpolation between. tests/reference holds it
// against published intervals to four digits and against the exact solution all over the table. Pure; any thread; under 0.2 us.
#pragma once

namespace driftline::statistics {

inline constexpr double quick_k_least = 0.01;
inline constexpr double quick_k_most = 3;  // with a larger k the interval is smaller still; this one is on the safe side
inline constexpr double quick_run_length_least = 200;
inline constexpr double quick_run_length_most = 1e9;

// k in standard deviations of independent normal values; clamped to the bounds above, as the run length is.
[[nodiscard]] double quick_cusum_interval(double k, double run_length);

}  // namespace driftline::statistics
