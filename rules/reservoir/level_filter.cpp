#include "rules/reservoir/level_filter.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules::reservoir {
namespace {

constexpr double forget = 1.0 / 250;  // of the score, a block
constexpr double surprise_max = 16;   // a single reading says no more than this against a hypothesis
constexpr float change_sure = 5;      // log likelihood ratio: odds of 150 to 1
constexpr double overdue = 1.25;      // a follower that should have moved this much ago has moved

// One scalar observation y = level + slope*use.
void update(Follower& f, double y, double slope, double variance) {
  const double ph_level = double{f.level_var} + slope * double{f.cross};
  const double ph_use = double{f.cross} + slope * double{f.use_var};
  const double s = ph_level + slope * ph_use + variance;
  double error = y - (f.level + slope * f.use);
  f.score -= static_cast<float>(0.5 * (std::min(error * error / s, surprise_max) + std::log(s)));
  // Beyond three deviations an observation pulls no harder than at three.
  error = std::clamp(error, -3 * std::sqrt(s), 3 * std::sqrt(s));
  const double gain_level = ph_level / s, gain_use = ph_use / s;
  f.level += gain_level * error;
  f.use = std::max(0.0, f.use + gain_use * error);
  f.level_var = static_cast<float>(std::max(1e-4, double{f.level_var} - gain_level * ph_level));
  f.cross = static_cast<float>(double{f.cross} - gain_level * ph_use);
  f.use_var = static_cast<float>(std::max(1e-8, double{f.use_var} - gain_use * ph_use));
}

void moved(Follower& f, double reading, double noise_sd) {
  f.held = static_cast<float>(reading);
  f.since = 0;
  f.blocks = 1;
  f.anchored = true;
  update(f, reading, 0, noise_sd * noise_sd);
}

void stayed(Follower& f, double reading, double stick, double noise_sd) {
  f.blocks = static_cast<std::int16_t>(std::min(f.blocks + 1, 1000));
  f.held += (static_cast<float>(reading) - f.held) / static_cast<float>(f.blocks);
  if (f.anchored) {
    // The same height read again and again: its coarse step does not average out, so later readings count
    // less.
    update(f, reading, double{f.since}, noise_sd * noise_sd * f.blocks);
    return;
  }
  // After a refill: the level is within `stick` of the reading, no more is known until the follower moves.
  const double deviation = reading - double{f.held};
  f.score -= static_cast<float>(0.5 * (std::min(deviation * deviation / (noise_sd * noise_sd), surprise_max) +
                                       std::log(noise_sd * noise_sd)));
  const double low = double{f.held} - stick, high = double{f.held} + stick;
  if (f.level < low || f.level > high) {
    const float score = f.score;
    update(f, f.level < low ? low : high, 0, 0.09 + noise_sd * noise_sd);
    f.score = score;
  }
}

void start_at(Follower& f, double reading, double stick, double noise_sd) {
  f.level = reading + stick / 2;
  f.level_var = static_cast<float>(noise_sd * noise_sd + stick * stick / 12);
  f.cross = 0;
  f.held = static_cast<float>(reading);
  f.since = 0;
  f.blocks = 1;
  f.anchored = false;
}

void step(Follower& f, double nominal, double nominal_sd) {
  f.level -= f.use * nominal;
  f.level_var += static_cast<float>(-2 * nominal * double{f.cross} + nominal * nominal * double{f.use_var} +
                                    f.use * f.use * nominal_sd * nominal_sd);
  f.level_var = std::max(f.level_var, 1e-4F);
  f.cross -= static_cast<float>(nominal * double{f.use_var});
  f.since += static_cast<float>(nominal);
}

// Returns the log likelihood of the reading.
float see(Follower& f, double reading, double stick, double noise_sd) {
  const float before = f.score;
  const bool left = std::abs(reading - double{f.held}) > stick / 2;
  const bool late = f.anchored && f.use * double{f.since} > overdue * stick + 0.1;
  if (stick <= 0 || left || late)
    moved(f, reading, noise_sd);
  else
    stayed(f, reading, stick, noise_sd);
  return f.score - before;
}

using Followers = std::array<Follower, follower_count>;

std::array<double, follower_count> weights_of(const Followers& followers) {
  std::array<double, follower_count> weight{};
  double best = -1e300, sum = 0;
  for (const Follower& f : followers) best = std::max(best, double{f.score});
  for (std::size_t i = 0; i < followers.size(); ++i)
    sum += weight[i] = std::exp(double{followers[i].score} - best);
  for (double& w : weight) w /= sum;
  return weight;
}

Estimate mixed(const Followers& followers, const std::array<double, follower_count>& weight) {
  Estimate e{0, 0, 0, 0, 0};
  for (std::size_t i = 0; i < followers.size(); ++i) {
    e.level += weight[i] * followers[i].level;
    e.use += weight[i] * followers[i].use;
  }
  double level_var = 0, use_var = 0;
  for (std::size_t i = 0; i < followers.size(); ++i) {
    const Follower& f = followers[i];
    level_var += weight[i] * (double{f.level_var} + (f.level - e.level) * (f.level - e.level));
    use_var += weight[i] * (double{f.use_var} + (f.use - e.use) * (f.use - e.use));
    e.cross += weight[i] * (double{f.cross} + (f.level - e.level) * (f.use - e.use));
  }
  e.level_sd = std::sqrt(level_var);
  e.use_sd = std::sqrt(use_var);
  return e;
}

}  // namespace

void LevelFilter::start_use(double use, double use_sd) {
  for (Followers* followers : {&calm, &agile})
    for (Follower& f : *followers) {
      f.use = use;
      f.use_var = static_cast<float>(use_sd * use_sd);
      f.cross = 0;
    }
}

void LevelFilter::start_level(double reading, double noise_sd) {
  for (std::size_t i = 0; i < follower_count; ++i)
    for (Followers* followers : {&calm, &agile}) start_at((*followers)[i], reading, stick_pct[i], noise_sd);
}

void LevelFilter::set_level(double level, double sd) {
  for (Followers* followers : {&calm, &agile})
    for (Follower& f : *followers) {
      start_at(f, level, 0, sd);
      f.blocks = 0;
    }
}

void LevelFilter::turn(double nominal, double nominal_sd) {
  for (Followers* followers : {&calm, &agile})
    for (Follower& f : *followers) step(f, nominal, nominal_sd);
}

void LevelFilter::wander(double days) {
  for (Follower& f : calm) f.use_var += static_cast<float>(std::pow(calm_wander * f.use, 2) * days);
  for (Follower& f : agile) f.use_var += static_cast<float>(std::pow(agile_wander * f.use, 2) * days);
}

void LevelFilter::loosen_use(double sd) {
  for (Followers* followers : {&calm, &agile})
    for (Follower& f : *followers) f.use_var += static_cast<float>(sd * sd);
}

void LevelFilter::loosen_level(double sd) {
  for (Followers* followers : {&calm, &agile})
    for (Follower& f : *followers) f.level_var += static_cast<float>(sd * sd);
}

void LevelFilter::read(double reading, double noise_sd) {
  float best = -1e9F;
  for (std::size_t i = 0; i < follower_count; ++i) {
    calm[i].score *= static_cast<float>(1 - forget);
    const float by_calm = see(calm[i], reading, stick_pct[i], noise_sd);
    const float by_agile = see(agile[i], reading, stick_pct[i], noise_sd);
    lead[i] = std::max(0.0F, lead[i] + by_agile - by_calm);
    if (lead[i] > change_sure) {
      const float score = calm[i].score;
      calm[i] = agile[i];
      calm[i].score = score;
      lead[i] = 0;
    }
    best = std::max(best, calm[i].score);
  }
  for (std::size_t i = 0; i < follower_count; ++i) {
    calm[i].score -= best;
    agile[i].score = calm[i].score;
  }
}

std::array<double, follower_count> LevelFilter::weights() const {
  return weights_of(calm);
}

Estimate LevelFilter::estimate() const {
  return mixed(calm, weights());
}

Estimate LevelFilter::lately() const {
  return mixed(agile, weights());
}

double LevelFilter::expected_reading() const {
  const auto weight = weights();
  double sum = 0;
  for (std::size_t i = 0; i < follower_count; ++i) {
    const Follower& f = calm[i];
    sum += weight[i] * (stick_pct[i] <= 0
                            ? f.level
                            : std::clamp(double{f.held}, f.level - stick_pct[i], f.level + stick_pct[i]));
  }
  return sum;
}

double LevelFilter::likely_stick() const {
  const auto weight = weights();
  double sum = 0;
  for (std::size_t i = 0; i < follower_count; ++i) sum += weight[i] * stick_pct[i];
  return sum;
}

}  // namespace driftline::rules::reservoir
