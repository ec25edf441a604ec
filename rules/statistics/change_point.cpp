#include "rules/statistics/change_point.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace driftline::statistics {
namespace {

// Sums of the values less their mean, so that a large level costs no digits.
class SegmentCost {
 public:
  explicit SegmentCost(std::span<const double> values) : sum_(values.size() + 1), square_(values.size() + 1) {
    for (const double value : values) level_ += value / static_cast<double>(values.size());
    for (std::size_t i = 0; i < values.size(); ++i) {
      const double d = values[i] - level_;
      sum_[i + 1] = sum_[i] + d;
      square_[i + 1] = square_[i] + d * d;
    }
  }
  // Of values from..to-1 about their mean.
  [[nodiscard]] double operator()(std::size_t from, std::size_t to) const {
    const double sum = sum_[to] - sum_[from];
    return std::max(0.0, square_[to] - square_[from] - sum * sum / static_cast<double>(to - from));
  }
  [[nodiscard]] double mean(std::size_t from, std::size_t to) const {
    return level_ + (sum_[to] - sum_[from]) / static_cast<double>(to - from);
  }

 private:
  double level_ = 0;
  std::vector<double> sum_, square_;
};

double bic_of(double rss, double n, double segments) {
  return n * (std::log(rss) + 1 - std::log(n) + std::log(2 * std::numbers::pi)) + 2 * segments * std::log(n);
}

}  // namespace

std::optional<MeanShift> locate_shift(std::span<const double> values, std::size_t segment_min) {
  segment_min = std::max<std::size_t>(segment_min, 1);
  if (values.size() < 2 * segment_min) return std::nullopt;
  const SegmentCost cost(values);
  MeanShift best{.rss = std::numeric_limits<double>::infinity()};
  for (std::size_t at = segment_min; at + segment_min <= values.size(); ++at) {
    const double rss = cost(0, at) + cost(at, values.size());
    if (rss < best.rss) best = {at, cost.mean(0, at), cost.mean(at, values.size()), rss};
  }
  return best;
}

std::vector<Breaks> locate_breaks(std::span<const double> values, std::size_t segment_min, std::size_t breaks_max) {
  segment_min = std::max<std::size_t>(segment_min, 1);
  const std::size_t n = values.size();
  std::vector<Breaks> found;
  if (n < segment_min || n == 0) return found;
  const SegmentCost cost(values);
  constexpr double none = std::numeric_limits<double>::infinity();
  // best[m][i]: least cost of the first i values with m breaks; last[m][i]: where the last of them lies.
  std::vector<std::vector<double>> best(1, std::vector<double>(n + 1, none));
  std::vector<std::vector<std::size_t>> last(1, std::vector<std::size_t>(n + 1, 0));
  for (std::size_t i = segment_min; i <= n; ++i) best[0][i] = cost(0, i);
  for (std::size_t m = 0; m <= breaks_max; ++m) {
    if (m > 0) {
      best.emplace_back(n + 1, none);
      last.emplace_back(n + 1, 0);
      for (std::size_t i = (m + 1) * segment_min; i <= n; ++i)
        for (std::size_t at = m * segment_min; at + segment_min <= i; ++at)
          if (const double c = best[m - 1][at] + cost(at, i); c < best[m][i]) best[m][i] = c, last[m][i] = at;
    }
    if (best[m][n] == none) break;
    Breaks breaks{{}, best[m][n], bic_of(best[m][n], static_cast<double>(n), static_cast<double>(m + 1))};
    for (std::size_t i = n, j = m; j > 0; --j) breaks.before.push_back(i = last[j][i]);
    std::reverse(breaks.before.begin(), breaks.before.end());
    found.push_back(std::move(breaks));
  }
  return found;
}

Breaks best_breaks(std::span<const double> values, std::size_t segment_min, std::size_t breaks_max) {
  const auto all = locate_breaks(values, segment_min, breaks_max);
  if (all.empty()) return {};
  return *std::min_element(all.begin(), all.end(), [](const Breaks& a, const Breaks& b) { return a.bic < b.bic; });
}

}  // namespace driftline::statistics
