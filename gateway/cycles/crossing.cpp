#include "gateway/cycles/crossing.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace driftline::cycles {
namespace {

constexpr double noise_bar = 0.3;
constexpr double vent_carried_on = 12.0;  // times the limit above the floor: how far an exponential is carried on

struct Fit {
  double slope = 0;
  double at_mean = 0;   // mean of x
  double mean = 0;      // mean of y
  double square_x = 0;  // sum of squares about the mean
  double rms = 0;
  std::size_t n = 0;
};

Fit fit_line(std::span<const LinePoint> points) {
  Fit fit;
  fit.n = points.size();
  for (const LinePoint& p : points) {
    fit.at_mean += p.at_s;
    fit.mean += p.bar;
  }
  fit.at_mean /= static_cast<double>(fit.n);
  fit.mean /= static_cast<double>(fit.n);
  double cross = 0;
  for (const LinePoint& p : points) {
    fit.square_x += (p.at_s - fit.at_mean) * (p.at_s - fit.at_mean);
    cross += (p.at_s - fit.at_mean) * (p.bar - fit.mean);
  }
  fit.slope = fit.square_x > 0 ? cross / fit.square_x : 0;
  double squares = 0;
  for (const LinePoint& p : points) {
    const double miss = p.bar - fit.mean - fit.slope * (p.at_s - fit.at_mean);
    squares += miss * miss;
  }
  fit.rms = fit.n > 2 ? std::sqrt(squares / static_cast<double>(fit.n - 2)) : 0;
  return fit;
}

// The longest straight end of the points, at least two, at most about `span_s` long.
std::span<const LinePoint> straight_end(std::span<const LinePoint> points, double span_s) {
  std::size_t take = std::min<std::size_t>(2, points.size());
  for (std::size_t n = 3; n <= std::min<std::size_t>(points.size(), 40); ++n) {
    const auto end = points.last(n);
    if (n > 4 && end.back().at_s - end.front().at_s > span_s) break;
    if (fit_line(end).rms > 1.6 * noise_bar) break;
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
  const Fit fit = fit_line(straight);
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

std::optional<Crossing> vent_crossing(std::span<const LinePoint> vent, double limit_bar, double floor_bar) {
  const double floor = std::min(floor_bar, limit_bar - std::max(0.5, 0.1 * limit_bar));
  std::size_t first = vent.size();  // first point at or below the limit, from which it does not come back
  while (first > 0 && vent[first - 1].bar <= limit_bar) --first;
  // One sample above by noise does not undo a vent that was met long before it.
  for (std::size_t i = 0; i < first; ++i) {
    if (vent[i].bar > limit_bar) continue;
    std::size_t higher = 0;
    for (std::size_t k = i; k < first; ++k) higher += vent[k].bar > limit_bar ? 1U : 0U;
    if (higher * 2 <= first - i) {
      first = i;
      break;
    }
  }
  if (first == 0) return std::nullopt;
  const LinePoint& over = vent[first - 1];
  if (first == vent.size() && over.bar - floor > vent_carried_on * (limit_bar - floor)) return std::nullopt;
  // ln(p - floor) is a straight line about the limit.
  std::vector<LinePoint> logs;
  const double high = floor + 4.0 * (limit_bar - floor);
  const double low = floor + 0.45 * (limit_bar - floor);
  for (std::size_t i = 0; i < vent.size(); ++i) {
    const bool beside = i + 1 == first || i + 2 == first || i == first;
    if (vent[i].bar <= floor + 0.2 || (!beside && (vent[i].bar > high || vent[i].bar < low))) continue;
    if (i > first + 6 || i + 8 < first) continue;
    if (i == first && vent[i].bar < low && logs.size() >= 2) continue;
    if (first < vent.size() && i > first && vent[i].at_s - vent[first].at_s > 3.0 * (vent[first].at_s - over.at_s) + 5.0) continue;
    logs.push_back({vent[i].at_s, std::log(vent[i].bar - floor)});
  }
  if (logs.size() < 2) {
    if (first < vent.size() && vent[first].at_s - over.at_s < 30.0) {
      const double part = (over.bar - limit_bar) / std::max(1e-6, over.bar - vent[first].bar);
      return Crossing{over.at_s + part * (vent[first].at_s - over.at_s), 0, 0.3 * (vent[first].at_s - over.at_s)};
    }
    return std::nullopt;
  }
  const Fit fit = fit_line(logs);
  if (fit.slope >= -1e-4) return std::nullopt;
  double at = fit.at_mean + (std::log(limit_bar - floor) - fit.mean) / fit.slope;
  const double latest = first < vent.size() ? vent[first].at_s : at;
  if (first < vent.size()) {
    const double slack = 2.0 * noise_bar / std::max(0.02, (limit_bar - floor) * -fit.slope);
    at = std::clamp(at, over.at_s - std::min(slack, 10.0), latest + std::min(slack, 10.0));
  } else {
    at = std::max(at, over.at_s);
  }
  const double slope = (limit_bar - floor) * fit.slope;
  return Crossing{at, slope, noise_bar / std::max(0.02, -slope)};
}

}  // namespace driftline::cycles
