#include "gateway/cycles/crossing.h"

#include <algorithm>
#include <cmath>

#include "gateway/cycles/straight_line.h"

namespace driftline::cycles {
namespace {

constexpr double noise_bar = 0.3;

// The longest straight end of the points, at least two, at most about `span_s` long.
std::span<const LinePoint> straight_end(std::span<const LinePoint> points, double span_s) {
  std::size_t take = std::min<std::size_t>(2, points.size());
  for (std::size_t n = 3; n <= std::min<std::size_t>(points.size(), 40); ++n) {
    const auto end = points.last(n);
    if (n > 4 && end.back().at_s - end.front().at_s > span_s) break;
    if (straight_line(end).rms > 1.6 * noise_bar) break;
    take = n;
  }
  return points.last(take);
}

}  // namespace

std::optional<Crossing> target_crossing(std::span<const LinePoint> run, std::optional<LinePoint> first_off,
                                        double target_bar, double interval_s, std::optional<double> steep,
                                        double stamp_slack_s, bool stopped_early) {
  if (run.empty()) return std::nullopt;
  const double end = first_off ? first_off->at_s : run.back().at_s;
  const double near_end = end - 2.5 * interval_s - 2.0;
  // The last upward crossing among the samples, if it is near the end.
  std::size_t under = run.size();  // points before this one count as below the target
  while (under > 0 && run[under - 1].bar >= target_bar) --under;
  std::optional<LinePoint> above;
  if (under < run.size()) above = run[under];
  if (above && above->at_s < near_end) return std::nullopt;
  if (under == 0) return Crossing{run[0].at_s, 0, 0.5 * interval_s};
  const auto below = run.first(under);
  if (!above && !first_off) return std::nullopt;
  if (below.size() < 2) {
    if (above) return Crossing{0.5 * (below.back().at_s + above->at_s), 0, 0.3 * interval_s};
    return std::nullopt;
  }
  const LinePoint last = below.back();
  const auto straight = straight_end(below, std::max(4.0, 3.5 * interval_s));
  const StraightLine fit = straight_line(straight);
  double slope = fit.slope;
  double from_s = fit.at_mean;
  double from_bar = fit.mean;
  // The last stretch may hold the knee between plateau and steep rise: then earlier turns know the slope better.
  if (steep && straight.size() <= 2 && slope < 0.75 * *steep) {
    slope = *steep;
    from_s = last.at_s;
    from_bar = last.bar;
  }
  if (above) {
    const double chord = (above->bar - last.bar) / std::max(0.02, above->at_s - last.at_s);
    double at = last.at_s + (target_bar - last.bar) / std::max(chord, 1e-3);
    // The pump may have stopped before `above`, so that the chord is too flat: the rise carried on comes earlier.
    if (slope > 0.05) at = std::min(at, std::max(last.at_s, from_s + (target_bar - from_bar) / slope));
    at = std::clamp(at, last.at_s, above->at_s);
    return Crossing{at, std::max(chord, slope), noise_bar / std::max(0.05, std::max(chord, slope))};
  }
  // The pressure only falls once the pump stands: held after the stop, it was held before it.
  const bool close = stopped_early && std::max(first_off->bar, last.bar) >= 0.98 * target_bar - noise_bar;
  const bool held = close || first_off->bar >= target_bar;
  if (slope < 0.05) return held ? std::optional(Crossing{0.5 * (last.at_s + end), 0, 0.3 * (end - last.at_s)}) : std::nullopt;
  const double at = std::max(last.at_s, from_s + (target_bar - from_bar) / slope);
  const double reach = at - fit.at_mean;
  const double error = noise_bar / slope * std::sqrt(1.0 / static_cast<double>(fit.n) + (fit.square_x > 0 ? reach * reach / fit.square_x : 1.0));
  const double slack = std::min((stopped_early ? 0.5 : 0.25) * interval_s, 2.0 * error) + 0.15 + stamp_slack_s;
  if (at > end + slack && !held) return std::nullopt;
  return Crossing{std::min(at, end), slope, error};
}

}  // namespace driftline::cycles
