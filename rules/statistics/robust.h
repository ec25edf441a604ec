// Location and spread that a few gross outliers do not move. Pure; any thread. Values must be finite.
//
// Empty spans give no value. Nothing is changed in place; each function copies its input once (the pairwise ones make
// n(n+1)/2 or n*m values). Checked in tests/reference/robust_test.cpp, properties in tests/unit/statistics.
#pragma once

#include <optional>
#include <span>

namespace driftline::statistics {

// Mean of the two middle values when their number is even. O(n).
[[nodiscard]] std::optional<double> median(std::span<const double> values);

// Sample quantile with linear interpolation between order statistics, position 1 + (n-1)p (Hyndman & Fan 1996, type 7).
// 0 <= p <= 1. O(n).
[[nodiscard]] std::optional<double> quantile(std::span<const double> values, double p);

// Median of the absolute deviations from the median. O(n). Times `mad_to_sigma` it estimates a normal law's sigma.
[[nodiscard]] std::optional<double> median_absolute_deviation(std::span<const double> values);
inline constexpr double mad_to_sigma = 1.4826;  // 1/normal_quantile(0.75), to the digits that R's mad() uses

// Hodges-Lehmann: median of the n(n+1)/2 Walsh averages (x_i + x_j)/2, i <= j. O(n^2) time and memory.
[[nodiscard]] std::optional<double> hodges_lehmann(std::span<const double> values);

// Shift of `x` against `y`: median of all x_i - y_j. O(n*m) time and memory.
[[nodiscard]] std::optional<double> hodges_lehmann_shift(std::span<const double> x, std::span<const double> y);

struct RobustLocation {
  double location = 0;
  double scale = 0;
  bool operator==(const RobustLocation&) const = default;
};

// Huber's M-estimate with the scale fixed at 1.4826 MAD: mean of the values clamped to location +- k*scale, iterated.
// Scale 0 (half the values equal) gives the median. O(n) a step, at most 200 steps.
[[nodiscard]] std::optional<RobustLocation> huber_location(std::span<const double> values, double k = 1.5);

// Huber's proposal 2: location and scale together; n >= 2.
[[nodiscard]] std::optional<RobustLocation> huber_proposal_2(std::span<const double> values, double k = 1.5);

}  // namespace driftline::statistics
