// A baseline for figures that only serve as evidence: a level, a slope with the grease's temperature, a spread.
//
// The same regression as rules/baseline/figure_baseline.h with two coefficients, and a smoothed error of the last turns,
// which diagnosis reads. About 50 bytes, so that a line can afford many.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>

#include "rules/baseline/air.h"
#include "rules/baseline/recursive_fit.h"

namespace driftline::rules {

struct LightPrior {
  double level_deviation = 1;
  double slope = 0;             // for ten degrees
  double slope_deviation = 0;
  double deviation = 0;         // of one turn
  double deviation_floor = 0;
};

struct LightFigure {
  RecursiveFit<2> fit;
  float square_sum = 0;
  float weight = 0;
  std::uint16_t turns = 0;     // stops at the most it can hold
  float smooth = 0;   // mean error of the last turns
  std::uint8_t behind = 0;   // turns behind it, at most light_smooth_turns
  bool operator==(const LightFigure&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(fit, square_sum, weight, turns, smooth, behind);
  }
};

inline constexpr int light_smooth_turns = 6;
inline constexpr int light_turns_to_learn = 12;

[[nodiscard]] inline RecursiveFit<2>::Row light_row(const Weather& weather) {
  return {1, weather.is_temperature ? weather.grease : 0};
}

[[nodiscard]] inline double deviation_of(const LightFigure& f, const LightPrior& prior) {
  const double variance = (double{f.square_sum} + prior.deviation * prior.deviation * 8) / (double{f.weight} + 8);
  return std::max(std::sqrt(variance), prior.deviation_floor);
}

// The error of this turn against what was learnt; also moves the smoothed error. Empty while there is nothing learnt.
inline std::optional<double> look_at(LightFigure& f, const Weather& weather, double y) {
  if (f.turns < light_turns_to_learn) return std::nullopt;
  const double error = y - f.fit.value(light_row(weather));
  f.behind = static_cast<std::uint8_t>(std::min(f.behind + 1, light_smooth_turns));
  f.smooth += (static_cast<float>(error) - f.smooth) / static_cast<float>(f.behind);
  return error;
}

inline void teach(LightFigure& f, const LightPrior& prior, const Weather& weather, double y) {
  const auto x = light_row(weather);
  if (f.turns == 0) f.fit = RecursiveFit<2>::with_prior({y - prior.slope * x[1], prior.slope}, {prior.level_deviation, prior.slope_deviation});
  const double deviation = deviation_of(f, prior);
  const double model = f.fit.variance(x);
  const double reach = 3 * std::sqrt(deviation * deviation + model);
  const double error = std::clamp(y - f.fit.value(x), -reach, reach);
  if (f.turns >= 4) {
    const float keep = 0.995F;
    const double fair = error * error * deviation * deviation / (deviation * deviation + model);
    f.square_sum = keep * f.square_sum + static_cast<float>(fair);
    f.weight = keep * f.weight + 1;
  }
  f.fit.loosen(0, 3e-5 * deviation * deviation);  // remembers some hundred turns
  f.fit.learn(x, f.fit.value(x) + error, 3 * deviation * deviation);
  if (f.turns < 65535) ++f.turns;
}

inline void renew(LightFigure& f, const LightPrior& prior) {
  if (f.turns == 0) return;
  f.fit.forget(0, prior.level_deviation);
  f.turns = 1;
  f.smooth = 0;
  f.behind = 0;
}

}  // namespace driftline::rules
