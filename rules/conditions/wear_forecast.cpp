#include "rules/conditions/wear_forecast.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace driftline::rules {
namespace {
constexpr double block_days = 0.5;
constexpr std::array<double, 7> powers{0, 1, 1.5, 2, 2.5, 3, 4};
constexpr std::array<double, 7> power_prior{0.08, 0.42, 0.06, 0.10, 0.12, 0.14, 0.08};
constexpr std::array<double, 3> limit_shares{0.5, 0.75, 1.0};
constexpr std::array<double, 3> share_weights_even{0.0, 0.15, 0.85};         // p up to 1.5
constexpr std::array<double, 3> share_weights_accelerating{0.3, 0.35, 0.35};
constexpr double likelihood_power = 0.5;
constexpr std::array<double, 5> spread_points{-1.4, -0.7, 0, 0.7, 1.4};        // of the limit and of a, in deviations
constexpr std::array<double, 5> spread_weights{0.12, 0.23, 0.30, 0.23, 0.12};
constexpr double shorter = 0.85;  // the weather to come, and wear that follows none of these laws
constexpr double longer = 1.2;
constexpr int onsets = 14;
constexpr double never_days = 10 * horizon_days;

struct Crossing {
  double day = 0;
  double weight = 0;
};

void merge_older_half(WearHistory& h) {
  const int half = h.used / 2 / 2 * 2;
  int to = 0;
  for (int from = 0; from < half; from += 2, ++to) {
    const WearBlock a = h.blocks[from];
    const WearBlock b = h.blocks[from + 1];
    const float turns = a.turns + b.turns;
    h.blocks[to] = {(a.day * a.turns + b.day * b.turns) / turns, (a.mean * a.turns + b.mean * b.turns) / turns, turns};
  }
  for (int from = half; from < h.used; ++from, ++to) h.blocks[to] = h.blocks[from];
  h.used = to;
}

double loss_of(double shift, const WearScale& scale) { return scale.share_of_flow ? -std::expm1(-shift) : shift; }

double power_of(double x, double p) { return p == 0 ? 1 : p == 1 ? x : p == 2 ? x * x : p == 3 ? x * x * x : p == 4 ? x * x * x * x : x * x * std::sqrt(x) * (p == 2.5 ? 1 : 1 / x); }

// When a loss that grows with this rate and power meets the limit; `never_days` ahead stands for never.
double crossing(double t0, double rate, double p, double limit, double today) {
  if (limit <= 0) return today;
  if (rate <= 0) return today + never_days;
  if (p == 0) return rate >= limit ? today : today + never_days;
  return t0 + std::pow(limit / rate, 1 / p);
}

double percentile(const std::vector<Crossing>& sorted, double share) {
  double total = 0;
  for (const Crossing& c : sorted) total += c.weight;
  double sum = 0;
  for (const Crossing& c : sorted) {
    sum += c.weight;
    if (sum >= share * total) return c.day;
  }
  return sorted.back().day;
}
}  // namespace

void remember(WearHistory& h, Time time, double shift) {
  if (h.used == 0) h.origin = time;
  const float day = static_cast<float>(days_between(h.origin, time));
  if (h.used > 0) {
    WearBlock& open = h.blocks[h.used - 1];
    if (day - h.open_since_day < static_cast<float>(block_days)) {
      open.turns += 1;
      open.mean += (static_cast<float>(shift) - open.mean) / open.turns;
      open.day += (day - open.day) / open.turns;
      return;
    }
  }
  if (h.used == static_cast<int>(wear_blocks_max)) merge_older_half(h);
  h.open_since_day = day;
  h.blocks[h.used++] = {day, static_cast<float>(shift), 1};
}

Forecast forecast(const WearHistory& h, const WearScale& scale, Time now) {
  if (h.used < 3) return {};
  const double today = days_between(h.origin, now);
  std::array<double, wear_blocks_max> day{};
  std::array<double, wear_blocks_max> loss{};
  std::array<double, wear_blocks_max> precision{};
  for (int i = 0; i < h.used; ++i) {
    day[i] = h.blocks[i].day;
    loss[i] = loss_of(h.blocks[i].mean, scale);
    const double variance = scale.lasting_deviation * scale.lasting_deviation / h.blocks[i].turns + scale.wander * scale.wander;
    precision[i] = 1 / variance;
  }
  std::vector<Crossing> crossings;
  std::vector<double> misfits;
  crossings.reserve(onsets * powers.size() * spread_points.size() * limit_shares.size());
  misfits.reserve(crossings.capacity());
  const double first = day[0] - 0.5;
  const double last = std::max(first + 0.5, day[h.used - 1] - 0.5);
  for (int onset = 0; onset < onsets; ++onset) {
    // Denser towards the present: a young drift has its onset there.
    const double back = static_cast<double>(onset) / (onsets - 1);
    const double t0 = last - (last - first) * back * back;
    for (std::size_t p = 0; p < powers.size(); ++p) {
      double xx = 0;
      double xy = 0;
      double yy = 0;
      for (int i = 0; i < h.used; ++i) {
        const double x = day[i] > t0 ? power_of(day[i] - t0, powers[p]) : 0;
        xx += precision[i] * x * x;
        xy += precision[i] * x * loss[i];
        yy += precision[i] * loss[i] * loss[i];
      }
      if (xx <= 0) continue;
      const double a = xy / xx;
      const double a_deviation = 1 / std::sqrt(xx);
      const double misfit = yy - a * xy;
      for (std::size_t s = 0; s < spread_points.size(); ++s) {
        // Errors of a and of the limit act together on the crossing; one ladder of points serves both.
        const double rate = a + spread_points[s] * a_deviation;
        const double limit = loss_of(std::max(0.0, scale.limit_shift - spread_points[s] * scale.limit_deviation), scale);
        for (std::size_t share = 0; share < limit_shares.size(); ++share) {
          const double at = crossing(t0, rate, powers[p], scale.share_of_flow ? limit * limit_shares[share] : limit, today);
          // It has not failed yet: what says that it should have is wrong.
          const double alive = at > today ? 1 : 0.02;
          const double onset_prior = back + 0.1;  // even over time, although the grid is not
          crossings.push_back({std::clamp(at, today, today + never_days),
                               power_prior[p] * spread_weights[s] * (powers[p] < 2 ? share_weights_even : share_weights_accelerating)[share] * alive * onset_prior});
          misfits.push_back(misfit);
        }
      }
    }
  }
  if (crossings.empty()) return {};
  const double best = *std::min_element(misfits.begin(), misfits.end());
  for (std::size_t i = 0; i < crossings.size(); ++i) crossings[i].weight *= std::exp(-(misfits[i] - best) / 2 * likelihood_power);
  std::stable_sort(crossings.begin(), crossings.end(), [](const Crossing& a, const Crossing& b) { return a.day < b.day; });
  const double middle = percentile(crossings, 0.5);
  if (middle > today + horizon_days) return {};
  const double earliest = today + shorter * (percentile(crossings, 0.1) - today);
  const double latest = today + std::min(longer * (percentile(crossings, 0.9) - today), 3 * horizon_days);
  return {later_by_days(h.origin, middle), later_by_days(h.origin, earliest), later_by_days(h.origin, latest)};
}

}  // namespace driftline::rules
