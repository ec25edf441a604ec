#include "rules/conditions/drift_chart.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules {
namespace {
constexpr double smooth_turns = 6;
constexpr double cap_deviations = 3;  // a single turn counts for no more than this, so that one outlier cannot signal
constexpr double model_allowance = 1.5;
constexpr double fewest_turns = 3.5;
constexpr int fast_turns = 3;
constexpr double tolerated_roughness = 1.4;  // chance alone makes ten differences as rough as this
constexpr double fast_deviations = 5;

void follow_side(ChartSide& side, double error, double allowance, double cap, Time time) {
  side.sum += static_cast<float>(std::min(error, cap) - allowance);
  if (side.sum <= 0) {
    side.sum = 0;
    side.since.reset();
    side.turns = 0;
    return;
  }
  if (!side.since) side.since = time;
  if (side.turns < 60000) ++side.turns;
}

Signal judge_side(ChartSide& side, double error, double fast_limit, double limit) {
  const int beyond = error > fast_limit ? side.beyond + (error > 2.5 * fast_limit ? 2 : 1) : 0;
  side.beyond = static_cast<std::uint8_t>(std::min(beyond, 200));
  if (side.beyond >= fast_turns) return Signal::sudden;
  return side.sum > limit ? Signal::small_shift : Signal::none;
}
}  // namespace

double decision_interval(double k, double run_length) {
  // exp(x) - x - 1 = wanted, x = 2kb. Newton from above: the function is convex and grows, so it comes down without overshoot.
  const double wanted = 2 * k * k * std::max(run_length, 1.0);
  double x = std::max(std::log1p(wanted) + 1, 1e-3);
  for (int i = 0; i < 12; ++i) {
    const double grown = std::exp(x);
    const double step = (grown - x - 1 - wanted) / (grown - 1);
    x -= step;
    if (std::abs(step) < 1e-6 * x) break;
  }
  return std::max(x / (2 * k) - 1.166, 1.0);
}

ChartLimits limits_of(const ChartDesign& design, const Expectation& expected) {
  const double k = design.smallest_shift / 2;
  const double lasting = std::max(expected.lasting_deviation, 1e-9);
  const double allowance = k + model_allowance * expected.model_deviation;
  const double cap = allowance + cap_deviations * expected.deviation;
  const double run_length = design.turns_a_year / design.false_signals_a_year;
  // Never on fewer than four turns at their cap, however small the scatter: tails are heavier than the normal's.
  const double limit = std::max(h_guard * lasting * decision_interval(k / lasting, run_length), fewest_turns * cap_deviations * expected.deviation);
  const double fast = std::max(design.fast_shift, fast_deviations * std::hypot(expected.deviation, expected.model_deviation));
  return {allowance, cap, limit, fast};
}

double roughness(DriftChart& chart, const Expectation& expected, double error) {
  constexpr float memory = 10;  // turns
  constexpr double reach = 6;   // a single difference counts for no more than this many deviations
  const double variance = expected.deviation * expected.deviation;
  if (!chart.begun || variance <= 0) {
    chart.begun = true;
    chart.half_square = static_cast<float>(variance);
    chart.last_error = static_cast<float>(error);
    return 1;
  }
  const double now = std::max(variance, double{chart.half_square});
  const double difference = error - double{chart.last_error};
  const double half_square = std::min(difference * difference / 2, reach * reach / 2 * now);
  const double rough = std::max(1.0, std::sqrt(double{chart.half_square} / variance) / tolerated_roughness);
  chart.half_square += (static_cast<float>(half_square) - chart.half_square) / memory;
  chart.last_error = static_cast<float>(error);
  return rough;
}

ChartReading follow(DriftChart& chart, const ChartDesign& design, const Expectation& expected, double error, Time time) {
  const auto [allowance, cap, limit, fast] = limits_of(design, expected);
  follow_side(chart.up, error, allowance, cap, time);
  follow_side(chart.down, -error, allowance, cap, time);
  ChartReading reading;
  reading.up = judge_side(chart.up, error, fast, limit);
  reading.down = judge_side(chart.down, -error, fast, limit);
  // A lone turn far out is drawn in: it may be a turn that was not seen well. Three in a row are where the figure now is.
  const bool sudden = reading.up == Signal::sudden || reading.down == Signal::sudden;
  const double before = chart.smooth;
  reading.fair_error = sudden ? error : std::clamp(error, before - fast, before + fast);
  chart.smooth += static_cast<float>((sudden ? 0.5 : 1 / smooth_turns) * (reading.fair_error - before));
  // What is far over its limit already need not be remembered further: the sum must be able to come back.
  const auto most = static_cast<float>(1.5 * limit);
  chart.up.sum = std::min(chart.up.sum, most);
  chart.down.sum = std::min(chart.down.sum, most);
  reading.suspicious = double{std::max(chart.up.sum, chart.down.sum)} > suspicion * limit || chart.up.beyond > 0 || chart.down.beyond > 0;
  return reading;
}

double shift_of(const DriftChart& chart) { return chart.smooth; }

void restart(DriftChart& chart) { chart = {}; }

}  // namespace driftline::rules
