#include "gateway/cycles/rise_shape.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace driftline::cycles {
namespace {

constexpr std::size_t steps = 48;  // of equal time, over the rise

double rounded(double value) { return std::round(value * 1000.0) / 1000.0; }

std::vector<LinePoint> framed(std::span<const LinePoint> run, const RiseFrame& frame) {
  std::vector<LinePoint> out;
  out.push_back({frame.start_s, frame.start_bar});
  for (const LinePoint& p : run) {
    if (p.at_s > frame.start_s + 1e-3 && p.at_s < frame.end_s - 1e-3) out.push_back(p);
  }
  out.push_back({frame.end_s, frame.end_bar});
  return out;
}

std::vector<CurvePoint> thinned(const std::vector<LinePoint>& points, double start_s) {
  std::vector<CurvePoint> out;
  const std::size_t n = points.size();
  const std::size_t take = std::min(n, curve_points_max);
  for (std::size_t k = 0; k < take; ++k) {
    const std::size_t i = take == n ? k : k * (n - 1) / (take - 1);
    out.push_back({rounded(points[i].at_s - start_s), rounded(points[i].bar)});
  }
  return out;
}

// First time at or above a pressure, by straight lines.
std::optional<double> first_at(const std::vector<LinePoint>& points, double bar) {
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (points[i].bar < bar) continue;
    if (i == 0) return points[0].at_s;
    const double rise = points[i].bar - points[i - 1].bar;
    return points[i - 1].at_s + (bar - points[i - 1].bar) / std::max(rise, 1e-9) * (points[i].at_s - points[i - 1].at_s);
  }
  return std::nullopt;
}

std::array<double, steps + 1> resampled(const std::vector<LinePoint>& points, double start_s, double step_s) {
  std::array<double, steps + 1> out{};
  std::size_t i = 1;
  for (std::size_t k = 0; k <= steps; ++k) {
    const double at = start_s + static_cast<double>(k) * step_s;
    while (i + 1 < points.size() && points[i].at_s < at) ++i;
    const LinePoint& a = points[i - 1];
    const LinePoint& b = points[i];
    const double part = b.at_s > a.at_s ? std::clamp((at - a.at_s) / (b.at_s - a.at_s), 0.0, 1.0) : 1.0;
    out[k] = a.bar + part * (b.bar - a.bar);
  }
  return out;
}

double median(std::vector<double> values) {
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

void find_plateau(RiseShape& shape, const std::array<double, steps + 1>& bars, double step_s, double mean_slope) {
  const double begun = bars[0] + 0.08 * (bars[steps] - bars[0]);
  std::size_t best_from = 0;
  std::size_t best = 0;
  std::size_t from = 0;
  std::size_t length = 0;
  for (std::size_t k = 0; k < steps; ++k) {
    const std::size_t low = k == 0 ? 0 : k - 1;
    const std::size_t high = std::min(k + 2, steps);
    const double slope = (bars[high] - bars[low]) / (static_cast<double>(high - low) * step_s);
    if (bars[k] > begun && slope < 0.6 * mean_slope) {
      if (length++ == 0) from = k;
      if (length > best) {
        best = length;
        best_from = from;
      }
    } else {
      length = 0;
    }
  }
  if (12 * best < steps) return;
  shape.plateau_start_s = rounded(static_cast<double>(best_from) * step_s);
  shape.plateau_s = rounded(static_cast<double>(best) * step_s);
  const auto first = bars.begin() + static_cast<std::ptrdiff_t>(best_from);
  shape.plateau_bar = rounded(median(std::vector<double>(first, first + static_cast<std::ptrdiff_t>(best + 1))));
  std::vector<double> steep;
  for (std::size_t k = best_from + best + 1; k < steps; ++k) steep.push_back((bars[k + 1] - bars[k]) / step_s);
  if (steep.size() >= 2) shape.steep_bar_per_s = rounded(median(std::move(steep)));
}

}  // namespace

RiseShape rise_shape(std::span<const LinePoint> run, const RiseFrame& frame) {
  RiseShape shape;
  if (frame.end_s - frame.start_s < 0.5 || run.size() < 3) return shape;
  const auto points = framed(run, frame);
  shape.curve = thinned(points, frame.start_s);
  if (frame.target_bar) {
    if (const auto at = first_at(points, frame.start_bar + 0.05 * *frame.target_bar)) shape.soft_start_s = rounded(*at - frame.start_s);
    if (const auto at = first_at(points, 0.95 * *frame.target_bar)) shape.run_on_s = rounded(frame.end_s - *at);
  }
  const double mean_slope = (frame.end_bar - frame.start_bar) / (frame.end_s - frame.start_s);
  if (points.size() < 6 || mean_slope <= 0) return shape;
  const double step_s = (frame.end_s - frame.start_s) / static_cast<double>(steps);
  find_plateau(shape, resampled(points, frame.start_s, step_s), step_s, mean_slope);
  return shape;
}

}  // namespace driftline::cycles
