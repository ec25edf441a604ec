// Is there a trend, and how steep: rank and median methods, deaf to outliers. Pure; any thread. Values must be finite.
//
// Checked in tests/reference/trend_test.cpp. All pairs are visited: O(n^2) time; Theil-Sen keeps n(n-1)/2 slopes.
#pragma once

#include <optional>
#include <span>

namespace driftline::statistics {

// S = sum of sign(y_j - y_i), i < j, in the order given; var S = [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18 over groups of t
// equal values; z = (S - sign S)/sqrt(var S); p two-sided by the normal law.
// Source: Mann (1945), Kendall (1975), Gilbert (1987) chapter 16 (citations from memory).
struct MannKendall {
  double s = 0;
  double variance = 0;
  double z = 0;
  double p = 1;
  double tau_b = 0;  // S / sqrt(pairs * pairs that are not tied)
  bool operator==(const MannKendall&) const = default;
};
[[nodiscard]] std::optional<MannKendall> mann_kendall(std::span<const double> values);  // n >= 2

// Kendall's tau-b of pairs, with ties on either side. Empty when either side is constant.
[[nodiscard]] std::optional<double> kendall_tau_b(std::span<const double> x, std::span<const double> y);

// Median of the slopes of all pairs with x_i != x_j; interval from the ordered slopes by Sen's ranks, each rounded to the
// nearest whole rank (half to even). Intercept: median y - slope * median x.
// Source: Sen, JASA 63 (1968) 1379-1389 (citation from memory).
struct TheilSen {
  double slope = 0;
  double intercept = 0;
  double slope_low = 0;
  double slope_high = 0;
  bool operator==(const TheilSen&) const = default;
};
// `x` and `y` of one length; empty when no two x differ.
[[nodiscard]] std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y,
                                                double confidence = 0.95);

// Siegel's repeated medians: median over i of the median over j of the slopes. Half the points may be anything.
[[nodiscard]] std::optional<double> repeated_medians_slope(std::span<const double> x, std::span<const double> y);

}  // namespace driftline::statistics
