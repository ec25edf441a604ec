#include "rules/statistics/robust.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "rules/statistics/distributions.h"

namespace driftline::statistics {
namespace {

constexpr int steps_max = 200;
constexpr double step_small = 1e-10;  // of the scale; MASS stops at 1e-6, the published digits need a little more

double median_of(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return 0.5 * (*std::max_element(values.begin(), middle) + *middle);
}

double clamped_mean(std::span<const double> values, double low, double high) {
  double sum = 0;
  for (const double value : values) sum += std::clamp(value, low, high);
  return sum / static_cast<double>(values.size());
}

}  // namespace

std::optional<double> median(std::span<const double> values) {
  if (values.empty()) return std::nullopt;
  std::vector<double> copy(values.begin(), values.end());
  return median_of(copy);
}

std::optional<double> quantile(std::span<const double> values, double p) {
  if (values.empty()) return std::nullopt;
  std::vector<double> copy(values.begin(), values.end());
  const double position = std::clamp(p, 0.0, 1.0) * static_cast<double>(copy.size() - 1);
  const auto below = static_cast<std::ptrdiff_t>(position);
  const auto at = copy.begin() + below;
  std::nth_element(copy.begin(), at, copy.end());
  const double share = position - static_cast<double>(below);
  if (share <= 0) return *at;
  return *at + share * (*std::min_element(at + 1, copy.end()) - *at);
}

std::optional<double> median_absolute_deviation(std::span<const double> values) {
  const auto centre = median(values);
  if (!centre) return std::nullopt;
  std::vector<double> deviations;
  deviations.reserve(values.size());
  for (const double value : values) deviations.push_back(std::fabs(value - *centre));
  return median_of(deviations);
}

std::optional<double> hodges_lehmann(std::span<const double> values) {
  if (values.empty()) return std::nullopt;
  std::vector<double> averages;
  averages.reserve(values.size() * (values.size() + 1) / 2);
  for (std::size_t i = 0; i < values.size(); ++i)
    for (std::size_t j = 0; j <= i; ++j) averages.push_back(0.5 * (values[i] + values[j]));
  return median_of(averages);
}

std::optional<double> hodges_lehmann_shift(std::span<const double> x, std::span<const double> y) {
  if (x.empty() || y.empty()) return std::nullopt;
  std::vector<double> differences;
  differences.reserve(x.size() * y.size());
  for (const double a : x)
    for (const double b : y) differences.push_back(a - b);
  return median_of(differences);
}

std::optional<RobustLocation> huber_location(std::span<const double> values, double k) {
  const auto start = median(values);
  if (!start) return std::nullopt;
  RobustLocation result{*start, mad_to_sigma * *median_absolute_deviation(values)};
  if (result.scale <= 0) return result;
  for (int step = 0; step < steps_max; ++step) {
    const double reach = k * result.scale;
    const double next = clamped_mean(values, result.location - reach, result.location + reach);
    const bool settled = std::fabs(next - result.location) < step_small * result.scale;
    result.location = next;
    if (settled) break;
  }
  return result;
}

std::optional<RobustLocation> huber_proposal_2(std::span<const double> values, double k) {
  if (values.size() < 2) return std::nullopt;
  RobustLocation result{*median(values), mad_to_sigma * *median_absolute_deviation(values)};
  if (result.scale <= 0) return result;
  const double inside = 2 * normal_probability(k) - 1;
  const double beta = inside + k * k * (1 - inside) - 2 * k * normal_density(k);
  for (int step = 0; step < steps_max; ++step) {
    const double low = result.location - k * result.scale, high = result.location + k * result.scale;
    const double location = clamped_mean(values, low, high);
    double squares = 0;
    for (const double value : values) squares += std::pow(std::clamp(value, low, high) - location, 2);
    const double scale = std::sqrt(squares / static_cast<double>(values.size() - 1) / beta);
    const bool settled = std::fabs(location - result.location) < step_small * scale &&
                         std::fabs(scale - result.scale) < step_small * scale;
    result = {location, scale};
    if (settled || scale <= 0) break;
  }
  return result;
}

}  // namespace driftline::statistics
