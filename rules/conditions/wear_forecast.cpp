#include "rules/conditions/wear_forecast.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace driftline::rules {
namespace {
constexpr double block_days = 0.5;
constexpr std::array<double, 7> powers{0, 1, 1.5, 2, 2.5, 3, 4};
constexpr std::array<double, 7> power_prior{0.08, 0.42, 0.06, 0.10, 0.12, 0.14, 0.08};
constexpr double likelihood_power = 0.3;
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

int merge_older_half(std::span<WearBlock> blocks, int used) {
  const int half = used / 2 / 2 * 2;
  int to = 0;
  for (int from = 0; from < half; from += 2, ++to) {
    const WearBlock a = blocks[static_cast<std::size_t>(from)];
    const WearBlock b = blocks[static_cast<std::size_t>(from) + 1];
    const float turns = a.turns + b.turns;
    const auto mean = [&](float of_a, float of_b) { return (of_a * a.turns + of_b * b.turns) / turns; };
    blocks[static_cast<std::size_t>(to)] = {mean(a.day, b.day), mean(a.mean, b.mean), mean(a.others, b.others), turns};
  }
  for (int from = half; from < used; ++from, ++to) blocks[static_cast<std::size_t>(to)] = blocks[static_cast<std::size_t>(from)];
  return to;
}

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

WearBlock& wear_block_at(std::span<WearBlock> blocks, int& used, float& open_since_day, float day) {
  if (used == 0 || day - open_since_day >= static_cast<float>(block_days)) {
    if (used == static_cast<int>(blocks.size())) used = merge_older_half(blocks, used);
    open_since_day = day;
    blocks[static_cast<std::size_t>(used++)] = {};
  }
  return blocks[static_cast<std::size_t>(used) - 1];
}

void add_to(WearBlock& block, float day, double shift, double others) {
  block.turns += 1;
  block.day += (day - block.day) / block.turns;
  block.mean += (static_cast<float>(shift) - block.mean) / block.turns;
  block.others += (static_cast<float>(others) - block.others) / block.turns;
}

namespace {
// Block means as losses, with their precision.
struct Losses {
  std::array<double, wear_blocks_max> loss{};
  std::array<double, wear_blocks_max> precision{};
};

Losses losses_of(const WearView& h, LossLaw law, const WearScale& scale) {
  Losses out;
  for (std::size_t i = 0; i < h.blocks.size(); ++i) {
    const double shift = double{h.blocks[i].mean} - scale.less_others * double{h.blocks[i].others};
    out.loss[i] = loss_of(shift, law, scale);
    constexpr double step = 1e-3;
    // Beyond what a law can give, a shift says nothing more of the loss; it is no certainty either.
    const double slope = std::max(1e-3, (loss_of(shift + step, law, scale) - loss_of(shift - step, law, scale)) / (2 * step));
    const double variance = scale.lasting_deviation * scale.lasting_deviation / h.blocks[i].turns + scale.wander * scale.wander;
    out.precision[i] = 1 / (variance * slope * slope);
  }
  return out;
}

// One onset, one power: the rate by weighted least squares.
struct Fitted {
  double rate = 0;
  double rate_deviation = 0;
  double misfit = 0;
};

std::optional<Fitted> fit(const WearView& h, const Losses& l, double t0, double p) {
  double xx = 0;
  double xy = 0;
  double yy = 0;
  for (std::size_t i = 0; i < h.blocks.size(); ++i) {
    const double x = h.blocks[i].day > t0 ? power_of(double{h.blocks[i].day} - t0, p) : 0;
    xx += l.precision[i] * x * x;
    xy += l.precision[i] * x * l.loss[i];
    yy += l.precision[i] * l.loss[i] * l.loss[i];
  }
  if (xx <= 0) return std::nullopt;
  return Fitted{xy / xx, 1 / std::sqrt(xx), yy - xy * xy / xx};
}
}  // namespace

double shift_of_loss(double loss, LossLaw law, const WearScale& scale) {
  switch (law) {
    case LossLaw::plain: return loss;
    case LossLaw::even: return -std::log1p(-std::min(loss, 0.999));
    case LossLaw::with_pressure: break;
  }
  const double l = std::min(loss, 0.999);
  const double rising = std::abs(l) < 1e-6 ? 1 + l / 2 : -std::log1p(-l) / l;
  return std::log(scale.plateau_share / (1 - l * scale.plateau_level) + (1 - scale.plateau_share) * rising);
}

double loss_of(double shift, LossLaw law, const WearScale& scale) {
  switch (law) {
    case LossLaw::plain: return shift;
    case LossLaw::even: return -std::expm1(-shift);
    case LossLaw::with_pressure: break;
  }
  double low = -2;
  double high = 0.999;
  for (int i = 0; i < 26; ++i) {
    const double middle = (low + high) / 2;
    (shift_of_loss(middle, law, scale) < shift ? low : high) = middle;
  }
  return (low + high) / 2;
}

Forecast forecast(const WearView& h, const WearScale& scale, Time now) {
  if (h.blocks.size() < 3) return {};
  const double today = days_between(h.origin, now);
  std::vector<Crossing> crossings;
  std::vector<double> misfits;
  crossings.reserve(loss_laws * onsets * powers.size() * spread_points.size());
  misfits.reserve(crossings.capacity());
  const double first = h.blocks.front().day - 0.5;
  const double last = std::max(first + 0.5, h.blocks.back().day - 0.5);
  for (std::size_t law_at = 0; law_at < loss_laws; ++law_at) {
    if (scale.laws[law_at] <= 0) continue;
    const auto law = static_cast<LossLaw>(law_at);
    const Losses losses = losses_of(h, law, scale);
    std::array<double, spread_points.size()> limits{};
    for (std::size_t s = 0; s < spread_points.size(); ++s)
      limits[s] = loss_of(std::max(0.0, scale.limit_shift - spread_points[s] * scale.limit_deviation), law, scale);
    for (int onset = 0; onset < onsets; ++onset) {
      // Denser towards the present: a young drift has its onset there.
      const double back = static_cast<double>(onset) / (onsets - 1);
      const double t0 = last - (last - first) * back * back;
      const double onset_prior = back + 0.1;  // even over time, although the grid is not
      for (std::size_t p = 0; p < powers.size(); ++p) {
        const auto fitted = fit(h, losses, t0, powers[p]);
        if (!fitted) continue;
        for (std::size_t s = 0; s < spread_points.size(); ++s) {
          // Errors of a and of the limit act together on the crossing; one ladder of points serves both.
          const double at = crossing(t0, fitted->rate + spread_points[s] * fitted->rate_deviation, powers[p], limits[s], today);
          // It has not failed yet: what says that it should have is wrong.
          const double alive = at > today ? 1 : 0.02;
          crossings.push_back({std::clamp(at, today, today + never_days),
                               scale.laws[law_at] * power_prior[p] * spread_weights[s] * alive * onset_prior});
          misfits.push_back(fitted->misfit);
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
