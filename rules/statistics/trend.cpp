#include "rules/statistics/trend.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "rules/statistics/distributions.h"
#include "rules/statistics/robust.h"

namespace driftline::statistics {
namespace {

int sign(double value) { return (value > 0) - (value < 0); }

// Sums over the groups of equal values.
struct Ties {
  double pairs = 0;     // t(t-1)/2
  double variance = 0;  // t(t-1)(2t+5)
};

Ties ties_of(std::span<const double> values) {
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  Ties ties;
  for (std::size_t i = 0; i < sorted.size();) {
    std::size_t j = i;
    while (j < sorted.size() && sorted[j] == sorted[i]) ++j;
    const auto t = static_cast<double>(j - i);
    ties.pairs += t * (t - 1) / 2;
    ties.variance += t * (t - 1) * (2 * t + 5);
    i = j;
  }
  return ties;
}

// Nearest whole number, half to even, whatever the rounding mode of the thread.
double round_half_even(double value) {
  const double down = std::floor(value);
  const double rest = value - down;
  if (rest != 0.5) return std::floor(value + 0.5);
  return std::fmod(down, 2) == 0 ? down : down + 1;
}

}  // namespace

std::optional<MannKendall> mann_kendall(std::span<const double> values) {
  if (values.size() < 2) return std::nullopt;
  const auto n = static_cast<double>(values.size());
  MannKendall result;
  for (std::size_t i = 0; i < values.size(); ++i)
    for (std::size_t j = i + 1; j < values.size(); ++j) result.s += sign(values[j] - values[i]);
  const Ties ties = ties_of(values);
  result.variance = (n * (n - 1) * (2 * n + 5) - ties.variance) / 18;
  if (result.variance <= 0) return result;
  result.z = (result.s - sign(result.s)) / std::sqrt(result.variance);
  result.p = std::min(1.0, 2 * normal_probability(-std::fabs(result.z)));
  const double pairs = n * (n - 1) / 2;
  result.tau_b = result.s / std::sqrt(pairs * (pairs - ties.pairs));
  return result;
}

std::optional<double> kendall_tau_b(std::span<const double> x, std::span<const double> y) {
  const std::size_t n = std::min(x.size(), y.size());
  if (n < 2) return std::nullopt;
  double s = 0;
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = i + 1; j < n; ++j) s += sign(x[j] - x[i]) * sign(y[j] - y[i]);
  const double pairs = static_cast<double>(n) * static_cast<double>(n - 1) / 2;
  const double free_x = pairs - ties_of(x.first(n)).pairs, free_y = pairs - ties_of(y.first(n)).pairs;
  if (free_x <= 0 || free_y <= 0) return std::nullopt;
  return s / std::sqrt(free_x * free_y);
}

std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y, double confidence) {
  const std::size_t n = std::min(x.size(), y.size());
  std::vector<double> slopes;
  slopes.reserve(n * (n + 1) / 2);
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; j < i; ++j)
      if (x[i] != x[j]) slopes.push_back((y[i] - y[j]) / (x[i] - x[j]));
  if (slopes.empty()) return std::nullopt;
  std::sort(slopes.begin(), slopes.end());

  TheilSen result;
  result.slope = *median(slopes);
  result.intercept = *median(y.first(n)) - result.slope * *median(x.first(n));
  const auto count = static_cast<double>(slopes.size()), size = static_cast<double>(n);
  const double variance = (size * (size - 1) * (2 * size + 5) - ties_of(x.first(n)).variance - ties_of(y.first(n)).variance) / 18;
  const double reach = normal_quantile(0.5 + confidence / 2) * std::sqrt(std::max(0.0, variance));
  const double low = std::max(0.0, round_half_even((count - reach) / 2) - 1);
  const double high = std::min(count - 1, round_half_even((count + reach) / 2));
  result.slope_low = slopes[static_cast<std::size_t>(low)];
  result.slope_high = slopes[static_cast<std::size_t>(high)];
  return result;
}

std::optional<double> repeated_medians_slope(std::span<const double> x, std::span<const double> y) {
  const std::size_t n = std::min(x.size(), y.size());
  std::vector<double> medians, slopes;
  for (std::size_t i = 0; i < n; ++i) {
    slopes.clear();
    for (std::size_t j = 0; j < n; ++j)
      if (x[i] != x[j]) slopes.push_back((y[i] - y[j]) / (x[i] - x[j]));
    if (!slopes.empty()) medians.push_back(*median(slopes));
  }
  return median(medians);
}

}  // namespace driftline::statistics
