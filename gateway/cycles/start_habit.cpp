#include "gateway/cycles/start_habit.h"

#include <algorithm>
#include <cmath>

namespace driftline::cycles {
namespace {

// Figures of the likelihood; all but the noise of the gauge are about how unlike two turns of one line are.
constexpr double noise_bar = 0.35;       // gauge noise and quantisation of such stations, 0.1-0.5 bar
constexpr double unlike_share = 0.06;    // of the rise
constexpr double unlike_time = 0.15;     // of the time since the start: what comes later shifts more from turn to turn
constexpr double stretch_spread = 0.15;
constexpr std::array<double, 5> stretches{0.7, 0.85, 1.0, 1.2, 1.45};
constexpr int shifts = 45;               // over [-0.6, 1.6] intervals
constexpr double forget = 0.9;
constexpr int origins = 21;              // where the start lies on the axis, over [-0.5, 0.5] intervals
constexpr double first_spread_min = 0.08;  // of an interval

struct MeanRise {
  std::array<double, start_bins> bar{};
  std::array<double, start_bins> slope{};
  bool known = false;
};

double bin_time(int bin, double interval) { return (bin - start_bins_before) * interval / start_bins_per_interval; }

// Gaps between bins that were never met are bridged by straight lines.
MeanRise mean_rise(const StartHabit& habit, double interval) {
  MeanRise mean;
  int last = -1;
  for (int bin = 0; bin < start_bins; ++bin) {
    const auto b = static_cast<std::size_t>(bin);
    if (habit.weight[b] <= 0.05F) continue;
    mean.bar[b] = static_cast<double>(habit.sum[b] / habit.weight[b]);
    for (int fill = last + 1; fill < bin; ++fill) {
      const auto f = static_cast<std::size_t>(fill);
      mean.bar[f] = last < 0 ? 0.0
                             : mean.bar[static_cast<std::size_t>(last)] +
                                   (mean.bar[b] - mean.bar[static_cast<std::size_t>(last)]) * (fill - last) / (bin - last);
    }
    last = bin;
  }
  mean.known = last >= 0;
  for (int fill = last + 1; last >= 0 && fill < start_bins; ++fill) mean.bar[static_cast<std::size_t>(fill)] = mean.bar[static_cast<std::size_t>(last)];
  constexpr int half = 2;
  for (int bin = 0; bin < start_bins; ++bin) {
    const int low = std::max(0, bin - half);
    const int high = std::min(start_bins - 1, bin + half);
    mean.slope[static_cast<std::size_t>(bin)] =
        (mean.bar[static_cast<std::size_t>(high)] - mean.bar[static_cast<std::size_t>(low)]) /
        ((high - low) * interval / start_bins_per_interval);
  }
  return mean;
}

struct Laid {
  std::array<double, stretches.size() * shifts> weight{};  // posterior over stretch and shift
  double shift = 0;
  double spread = 0;
};

double shift_at(int i, double interval) { return (-0.6 + 2.2 * i / (shifts - 1)) * interval; }

Laid lay(const MeanRise& mean, std::span<const RisePoint> points, double interval, const StartEstimate& plain, bool unsure) {
  Laid laid;
  std::array<double, stretches.size() * shifts> log_weight{};
  double best = -1e300;
  const double per_bin = start_bins_per_interval / interval;
  for (std::size_t j = 0; j < stretches.size(); ++j) {
    const double off = (stretches[j] - 1.0) / stretch_spread;
    for (int i = 0; i < shifts; ++i) {
      const double shift = shift_at(i, interval);
      double sum = -0.5 * off * off;
      double product = 1.0;
      if (mean.known) {
        for (const RisePoint& p : points) {
          const double tau = shift + p.after_first_s;
          const double at = std::clamp(tau / stretches[j] * per_bin + start_bins_before, 0.0, start_bins - 1.0001);
          const auto bin = static_cast<std::size_t>(at);
          const double part = at - static_cast<double>(bin);
          const double bar = mean.bar[bin] + part * (mean.bar[bin + 1] - mean.bar[bin]);
          const double unlike = unlike_share * std::max(bar, p.rise_bar);
          const double timing = unlike_time * std::max(tau, 0.2 * interval) * mean.slope[bin];
          const double variance = noise_bar * noise_bar + unlike * unlike + timing * timing;
          const double miss = p.rise_bar - bar;
          sum -= 0.5 * std::min(miss * miss / variance, 16.0);
          product *= variance;
        }
        sum -= 0.5 * std::log(product);
      }
      if (unsure) {
        const double away = (shift - plain.before_first_s) / (0.3 * interval);
        sum -= 0.5 * away * away;
      }
      log_weight[j * shifts + static_cast<std::size_t>(i)] = sum;
      best = std::max(best, sum);
    }
  }
  double total = 0;
  double first = 0;
  double second = 0;
  for (std::size_t k = 0; k < log_weight.size(); ++k) {
    const double w = log_weight[k] - best < -12 ? 0.0 : std::exp(log_weight[k] - best);
    const double shift = shift_at(static_cast<int>(k % shifts), interval);
    laid.weight[k] = w;
    total += w;
    first += w * shift;
    second += w * shift * shift;
  }
  for (double& w : laid.weight) w /= total;
  laid.shift = first / total;
  laid.spread = std::sqrt(std::max(0.0, second / total - laid.shift * laid.shift));
  return laid;
}

// Where the mean rise leaves nothing, carried back from its first bars; empty: not within an interval of its start.
std::optional<double> departure(const MeanRise& mean, double interval) {
  double top = 0;
  for (const double bar : mean.bar) top = std::max(top, bar);
  const double least = std::max(0.6, 0.02 * top);
  for (std::size_t b = 0; b + 3 < start_bins; ++b) {
    if (mean.bar[b] <= least || mean.bar[b + 1] <= least) continue;
    const double slope = (mean.bar[b + 3] - mean.bar[b]) / (3 * interval / start_bins_per_interval);
    if (slope <= 0) return std::nullopt;
    const double at = bin_time(static_cast<int>(b), interval) - mean.bar[b] / slope;
    if (std::abs(at) < 0.6 * interval) return at;
    return std::nullopt;
  }
  return std::nullopt;
}

double below(double z) { return 1.0 / (1.0 + std::exp(-1.702 * z)); }  // close to the normal distribution function

std::array<double, origins> origin_weights(const StartHabit& habit, const MeanRise& mean, double interval) {
  std::array<double, origins> out{};
  const auto leaves = habit.turns >= 3 ? departure(mean, interval) : std::nullopt;
  const double centre = leaves.value_or(0.0);
  const double prior = (leaves ? 0.1 : 0.6) * interval;
  double best = -1e300;
  for (int o = 0; o < origins; ++o) {
    const double origin = (-0.5 + 1.0 * o / (origins - 1)) * interval;
    double sum = -0.5 * (origin - centre) * (origin - centre) / (prior * prior);
    if (sum < -15.0) {  // far from where the rise departs: not worth its exponentials
      out[static_cast<std::size_t>(o)] = -1e6;
      continue;
    }
    double product = 1.0;
    for (std::size_t k = 0; k < habit.firsts; ++k) {
      const double spread = std::max(static_cast<double>(habit.spread_s[k]), first_spread_min * interval);
      const double first = static_cast<double>(habit.first_s[k]) - origin;
      product *= 0.02 + std::max(0.0, below(first / spread) - below((first - interval) / spread));
    }
    sum += std::log(std::max(product, 1e-300));
    out[static_cast<std::size_t>(o)] = sum;
    best = std::max(best, sum);
  }
  double total = 0;
  for (double& w : out) total += w = std::exp(std::max(-40.0, w - best));
  for (double& w : out) w /= total;
  return out;
}

void keep_first(StartHabit& habit, const Laid& laid) {
  habit.first_s[habit.next] = static_cast<float>(laid.shift);
  habit.spread_s[habit.next] = static_cast<float>(laid.spread);
  habit.next = static_cast<std::uint8_t>((habit.next + 1U) % starts_kept);
  habit.firsts = static_cast<std::uint8_t>(std::min<std::size_t>(habit.firsts + 1U, starts_kept));
}

void learn(StartHabit& habit, const Laid& laid, std::span<const RisePoint> points, double interval) {
  for (std::size_t b = 0; b < start_bins; ++b) {
    habit.sum[b] *= static_cast<float>(forget);
    habit.weight[b] *= static_cast<float>(forget);
  }
  habit.turns = habit.turns * static_cast<float>(forget) + 1.0F;
  const double per_bin = start_bins_per_interval / interval;
  for (std::size_t k = 0; k < laid.weight.size(); ++k) {
    if (laid.weight[k] < 1e-3) continue;
    const double stretch = stretches[k / shifts];
    const double shift = shift_at(static_cast<int>(k % shifts), interval);
    for (const RisePoint& p : points) {
      const double at = (shift + p.after_first_s) / stretch * per_bin + start_bins_before;
      if (at < 0 || at >= start_bins - 1) continue;
      const auto bin = static_cast<std::size_t>(at);
      const double part = at - static_cast<double>(bin);
      habit.sum[bin] += static_cast<float>(laid.weight[k] * (1 - part) * p.rise_bar);
      habit.weight[bin] += static_cast<float>(laid.weight[k] * (1 - part));
      habit.sum[bin + 1] += static_cast<float>(laid.weight[k] * part * p.rise_bar);
      habit.weight[bin + 1] += static_cast<float>(laid.weight[k] * part);
    }
  }
  // Half an interval before the start nothing has risen yet.
  for (std::size_t b = 0; 2 * b <= start_bins_before; ++b) habit.weight[b] += 0.05F;
}

// The axis is moved so that the start stays near its zero.
void move_axis(StartHabit& habit, double by, double interval) {
  if (std::abs(by) < 0.05 * interval || habit.turns < 3) return;
  const StartHabit old = habit;
  const double bins = by * start_bins_per_interval / interval;
  for (int bin = 0; bin < start_bins; ++bin) {
    const double at = std::clamp(bin + bins, 0.0, start_bins - 1.0001);
    const auto from = static_cast<std::size_t>(at);
    const auto part = static_cast<float>(at - static_cast<double>(from));
    habit.sum[static_cast<std::size_t>(bin)] = old.sum[from] * (1 - part) + old.sum[from + 1] * part;
    habit.weight[static_cast<std::size_t>(bin)] = old.weight[from] * (1 - part) + old.weight[from + 1] * part;
  }
  for (std::size_t k = 0; k < habit.firsts; ++k) habit.first_s[k] -= static_cast<float>(by);
}

}  // namespace

StartEstimate extrapolate_start(std::span<const RisePoint> points, double interval_s, double window_s) {
  StartEstimate out{0.5 * window_s, window_s / std::sqrt(12.0)};
  if (points.size() < 2) return out;
  const double slope = (points[1].rise_bar - points[0].rise_bar) / std::max(0.05, points[1].after_first_s);
  if (slope <= 0.3) return out;
  out.before_first_s = std::clamp(points[0].rise_bar / slope, 0.0, window_s);
  out.error_s = std::min(out.error_s, 0.1 * interval_s + noise_bar / slope);
  return out;
}

StartEstimate estimate_start(StartHabit& habit, std::span<const RisePoint> points, double interval_s, double window_s) {
  const StartEstimate plain = extrapolate_start(points, interval_s, window_s);
  if (points.size() < 2 || interval_s <= 0) return plain;
  if (std::abs(static_cast<double>(habit.interval_s) - interval_s) > 0.2 * interval_s) {
    habit = StartHabit{};
    habit.interval_s = static_cast<float>(interval_s);
  }
  const double interval = static_cast<double>(habit.interval_s);
  const MeanRise mean = mean_rise(habit, interval);
  const Laid laid = lay(mean, points, interval, plain, habit.turns < 3.4F);
  const bool learns = window_s <= 1.1 * interval;
  if (learns) keep_first(habit, laid);
  const auto origin = origin_weights(habit, mean, interval);
  double total = 0;
  double first = 0;
  double second = 0;
  double origin_mean = 0;
  std::array<double, shifts> by_shift{};
  for (std::size_t k = 0; k < laid.weight.size(); ++k) by_shift[k % shifts] += laid.weight[k];
  for (int o = 0; o < origins; ++o) {
    const double w_origin = origin[static_cast<std::size_t>(o)];
    const double at = (-0.5 + 1.0 * o / (origins - 1)) * interval;
    origin_mean += w_origin * at;
    if (w_origin < 1e-3) continue;
    for (int i = 0; i < shifts; ++i) {
      const double before = shift_at(i, interval) - at;
      if (before < 0 || before > window_s) continue;
      const double w = w_origin * by_shift[static_cast<std::size_t>(i)];
      total += w;
      first += w * before;
      second += w * before * before;
    }
  }
  if (learns) {
    learn(habit, laid, points, interval);
    move_axis(habit, origin_mean, interval);
  }
  if (total < 1e-9) {
    return {std::clamp(laid.shift - origin_mean, 0.0, window_s), 0.3 * interval};
  }
  const double mean_before = first / total;
  return {mean_before, std::sqrt(std::max(0.0, second / total - mean_before * mean_before) + 0.0025 * interval * interval)};
}

}  // namespace driftline::cycles
