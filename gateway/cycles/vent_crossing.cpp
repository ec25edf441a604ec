#include "gateway/cycles/vent_crossing.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <vector>

#include "gateway/cycles/straight_line.h"

namespace driftline::cycles {
namespace {

constexpr double noise_bar = 0.3;
constexpr double floor_doubt_bar = 0.5;   // a floor moves with the grease's temperature
constexpr double known_share = 0.125;     // of the vent: a wider error is no knowledge
constexpr double known_least_s = 1.5;
constexpr double flatter_most = 3.0;

// First point at or below the limit, from which it does not come back; size of `vent`: there is none.
std::size_t first_below(std::span<const LinePoint> vent, double limit_bar) {
  std::size_t first = vent.size();
  while (first > 0 && vent[first - 1].bar <= limit_bar) --first;
  // One sample above by noise does not undo a vent that was met long before it.
  for (std::size_t i = 0; i < first; ++i) {
    if (vent[i].bar > limit_bar) continue;
    std::size_t higher = 0;
    for (std::size_t k = i; k < first; ++k) higher += vent[k].bar > limit_bar ? 1U : 0U;
    if (higher * 2 <= first - i) return i;
  }
  return first;
}

// The samples about the limit are as close as those before it.
bool closely_met(std::span<const LinePoint> vent, std::size_t first) {
  if (first >= vent.size()) return false;
  const double gap = vent[first].at_s - vent[first - 1].at_s;
  const double before = first >= 2 ? vent[first - 1].at_s - vent[first - 2].at_s : gap;
  return gap <= std::max(2.0, 3.0 * before) && gap < 30.0;
}

std::optional<Crossing> between(std::span<const LinePoint> vent, std::size_t first, double limit_bar, double floor) {
  const LinePoint& over = vent[first - 1];
  // ln(p - floor) is a straight line about the limit.
  std::vector<LinePoint> logs;
  const double high = floor + 4.0 * (limit_bar - floor);
  const double low = floor + 0.45 * (limit_bar - floor);
  for (std::size_t i = first > 8 ? first - 8 : 0; i < std::min(vent.size(), first + 7); ++i) {
    const bool beside = i + 1 == first || i + 2 == first || i == first;
    if (vent[i].bar <= floor + 0.2 || (!beside && (vent[i].bar > high || vent[i].bar < low))) continue;
    if (i == first && vent[i].bar < low && logs.size() >= 2) continue;
    if (i > first && vent[i].at_s - vent[first].at_s > 3.0 * (vent[first].at_s - over.at_s) + 5.0) continue;
    logs.push_back({vent[i].at_s, std::log(vent[i].bar - floor)});
  }
  if (logs.size() < 2) {
    const double part = (over.bar - limit_bar) / std::max(1e-6, over.bar - vent[first].bar);
    return Crossing{over.at_s + part * (vent[first].at_s - over.at_s), 0, 0.3 * (vent[first].at_s - over.at_s)};
  }
  const StraightLine fit = straight_line(logs);
  if (fit.slope >= -1e-4) return std::nullopt;
  double at = fit.at_mean + (std::log(limit_bar - floor) - fit.mean) / fit.slope;
  const double slack = std::min(10.0, 2.0 * noise_bar / std::max(0.02, (limit_bar - floor) * -fit.slope));
  at = std::clamp(at, over.at_s - slack, vent[first].at_s + slack);
  const double slope = (limit_bar - floor) * fit.slope;
  return Crossing{at, slope, noise_bar / std::max(0.02, -slope)};
}

// The fall of ln(p - floor) at the end of the samples that are close to one another.
struct End {
  double at_s = 0;
  double log = 0;         // of the pressure above the floor there
  double constant_s = 0;  // time for a fall by the factor e
  double flatter = 1;     // constant over that of the stretch twice as high
  double error_s = 0;     // of a crossing one constant further on, by noise alone
};

std::optional<End> end_of(std::span<const LinePoint> over, double floor) {
  const std::size_t mean_of = std::min<std::size_t>(over.size(), 5);
  double end_bar = 0;
  for (const LinePoint& p : over.last(mean_of)) end_bar += (p.bar - floor) / static_cast<double>(mean_of);
  if (end_bar < 0.5) return std::nullopt;
  std::vector<LinePoint> late;
  std::vector<LinePoint> early;
  for (const LinePoint& p : over) {
    const double above = p.bar - floor;
    if (above < 0.2 || above > 4.0 * end_bar) continue;
    (above > 2.0 * end_bar ? early : late).push_back({p.at_s, std::log(above)});
  }
  if (late.size() < 3) {
    late.insert(late.begin(), early.end() - static_cast<std::ptrdiff_t>(std::min<std::size_t>(early.size(), 3)), early.end());
    early.clear();
  }
  if (late.size() < 2) return std::nullopt;
  const StraightLine fit = straight_line(late);
  if (fit.slope >= -1e-4) return std::nullopt;
  End end;
  end.at_s = over.back().at_s;
  end.log = fit.mean + fit.slope * (end.at_s - fit.at_mean);
  end.constant_s = -1.0 / fit.slope;
  end.flatter = 1.3;  // not shown: a fall is somewhat flatter than an exponential
  if (early.size() >= 3) {
    if (const StraightLine before = straight_line(early); before.slope < -1e-4) end.flatter = std::clamp(before.slope / fit.slope, 1.0, flatter_most);
  }
  const double reach = end.at_s + end.constant_s - fit.at_mean;
  end.error_s = noise_bar / end_bar * end.constant_s * std::sqrt(1.0 / static_cast<double>(fit.n) + (fit.square_x > 0 ? reach * reach / fit.square_x : 1.0));
  return end;
}

std::optional<Crossing> carried_on(std::span<const LinePoint> over, std::optional<LinePoint> next, double limit_bar, double floor) {
  const auto end = end_of(over, floor);
  if (!end) return std::nullopt;
  const double to_go = end->log - std::log(limit_bar - floor);
  const double tangent = to_go * end->constant_s;
  // Once more as much flatter as it got over the last fall by half: then the slowest part of the fall is what is left.
  const double growth = std::pow(end->flatter, std::min(1.0, 0.5 + to_go));
  double least = tangent;
  double most = tangent * growth;
  if (next) {
    most = std::min(most, next->at_s - end->at_s);
    if (next->bar > floor + 1.0) {
      const double chord = (next->at_s - end->at_s) * to_go / std::max(1e-6, end->log - std::log(next->bar - floor));
      most = std::clamp(chord, least, most);
    }
    least = std::min(least, most);
  }
  const double by_floor = end->constant_s * floor_doubt_bar * (1.0 / (limit_bar - floor) - 1.0 / (std::exp(end->log)));
  const double wait = std::max(0.0, std::sqrt(std::max(0.0, least) * std::max(0.0, most)));
  const double slope = -(limit_bar - floor) / (end->constant_s * growth);
  return Crossing{end->at_s + wait, slope, std::hypot((most - least) / std::sqrt(12.0), end->error_s * std::max(0.3, to_go), by_floor)};
}

}  // namespace

std::optional<Crossing> vent_crossing(std::span<const LinePoint> vent, double from_s, double limit_bar, double floor_bar) {
  const double floor = std::min(floor_bar, limit_bar - std::max(0.5, 0.1 * limit_bar));
  const std::size_t first = first_below(vent, limit_bar);
  if (first == 0) return std::nullopt;
  if (closely_met(vent, first)) return between(vent, first, limit_bar, floor);
  const auto crossing = carried_on(vent.first(first), first < vent.size() ? std::optional(vent[first]) : std::nullopt, limit_bar, floor);
  if (!crossing || crossing->error_s > std::max(known_least_s, known_share * (crossing->at_s - from_s))) return std::nullopt;
  return crossing;
}

}  // namespace driftline::cycles
