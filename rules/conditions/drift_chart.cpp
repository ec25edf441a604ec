#include "rules/conditions/drift_chart.h"

#include <algorithm>
#include <cmath>

#include "rules/statistics/quick_interval.h"

namespace driftline::rules {
namespace {
constexpr double smooth_turns = 6;
constexpr double cap_deviations = 3;  // a single turn counts for no more than this, so that one outlier cannot signal
constexpr double model_allowance = 1.5;
constexpr double more_than_one_turn = 1.1;  // caps: the least that a limit can be
constexpr float far_memory = 500;           // turns
constexpr double far_least = 0.001;         // no chart has seen enough turns to believe in fewer
constexpr int far_in_a_row = 2;             // more are no chance
constexpr double suspicion_least = 2;       // deviations
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

double limit_for_far_turns(double gain, double allowance, double share, double run_length) {
  // So many that the sum would rise on average leave no chart: taken as half as many as that.
  const double f = std::min(share, 0.5 * allowance / (allowance + gain));
  // f exp(x) + (1-f) exp(-a x) = 1, x = gain * theta. Newton from ln(1/f), which lies above the root: the left side is convex.
  const double a = allowance / gain;
  double x = -std::log(f);
  for (int i = 0; i < 12; ++i) {
    const double rise = f * std::exp(x);
    const double fall = (1 - f) * std::exp(-a * x);
    const double step = (rise + fall - 1) / (rise - a * fall);
    x -= step;
    if (std::abs(step) < 1e-4 * x) break;
  }
  return gain * std::log(std::max(run_length, 2.0)) / x;
}

double far_share(const DriftChart& chart) { return std::max(double{chart.far}, far_least); }

ChartLimits limits_of(const ChartDesign& design, const Expectation& expected, double far_share) {
  const double lasting = std::max(expected.lasting_deviation, 1e-9);
  const double allowance = design.smallest_shift / 2 + model_allowance * expected.model_deviation;
  const double gain = cap_deviations * expected.deviation;
  const double run_length = 2 * design.turns_a_year / design.false_signals_a_year;
  const double limit = std::max({lasting * statistics::quick_cusum_interval(allowance / lasting, run_length),
                                 limit_for_far_turns(std::max(gain, 1e-9), allowance, far_share, run_length), more_than_one_turn * gain});
  const double fast = std::max(design.fast_shift, fast_deviations * std::hypot(expected.deviation, expected.model_deviation));
  return {allowance, allowance + gain, limit, fast};
}

namespace {
void note_far(DriftChart& chart, double error, double allowance, const Expectation& expected) {
  const double from = std::max(allowance + 0.5 * cap_deviations * expected.deviation, cap_deviations * std::hypot(expected.deviation, expected.model_deviation));
  chart.far *= 1 - 1 / far_memory;
  if (std::abs(error) > from) {
    chart.far_run = static_cast<std::uint8_t>(std::min(chart.far_run + 1, 200));
    return;
  }
  if (chart.far_run <= far_in_a_row) chart.far += static_cast<float>(chart.far_run) / far_memory;
  chart.far_run = 0;
}
}  // namespace

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
  const auto [allowance, cap, limit, fast] = limits_of(design, expected, far_share(chart));
  note_far(chart, error, allowance, expected);
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
  const double suspicious_from = std::max(suspicion * limit, suspicion_least * expected.deviation);
  reading.suspicious = double{std::max(chart.up.sum, chart.down.sum)} > suspicious_from || chart.up.beyond > 0 || chart.down.beyond > 0;
  return reading;
}

double shift_of(const DriftChart& chart) { return chart.smooth; }

void restart(DriftChart& chart) {
  DriftChart fresh;
  fresh.far = chart.far;
  chart = fresh;
}

}  // namespace driftline::rules
