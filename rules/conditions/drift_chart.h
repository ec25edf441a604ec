// Has a figure left its baseline for good? Two one-sided cumulative sums for small lasting shifts, a smoothed value for the
// size of the shift, and a fast path for sudden ones.
//
//   up(n)   = max(0, up(n-1)   + min(e, cap) - k - c*m)         down likewise with -e
//   k = smallest shift that matters / 2,  m = deviation of the baseline's own value,  c = 1.5
//
// signals when it exceeds the decision limit, which is derived from the false signals a year that the engineer allows. With
// L = turns a year / signals a year, half of the signals go to each of two reasons for a sum to be high by chance:
//   many turns a little off   limit = lasting * h(K, 2L), `lasting` the figure's lasting deviation (rules/baseline/
//                             figure_baseline.h), K = (k + c*m)/lasting, h the exact decision interval of a CUSUM of independent normal
//                             values (rules/statistics/quick_interval.h). The sum of many turns that are alike behaves like that of
//                             independent ones with the lasting deviation (Brownian limit); few alike turns sum to less, which errs
//                             towards silence
//   few turns far off         a turn that was not seen well, or was no usual turn, adds up to `cap` = 3 deviations, however
//                             small the scatter. With a share f of such turns the chance that a sum reaches h falls as
//                             exp(-theta h), theta the root of  f exp(3 sigma theta) + (1-f) exp(-(k + c*m) theta) = 1  (Lundberg's
//                             equation; Siegmund, Sequential Analysis, 1985; from memory), so  limit = ln(2L)/theta.
// The larger of the two counts, and at least so much that no turn alone reaches it. f is the chart's own: of turns beyond both 3
// deviations and half the cap, at most two in a row, because a fault does not come and go like that; before any is seen, one in a
// hundred. Both limits are held against exact run lengths in tests/unit/conditions/drift_chart_test.cpp.
// The sum counts as suspicion from `suspicion` of the way on: the baseline then stops learning.
//
// Subtracting c*m: what the baseline does not know itself (a cold spell never seen before, the first days) is no evidence;
// m does not average out over turns, so it is taken off each.
//
// Fast path: three turns in a row beyond fast_shift and beyond 5 deviations of a single turn; two, when beyond 2.5 times that.
#pragma once

#include <cstdint>
#include <optional>

#include "rules/baseline/figure_baseline.h"
#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr double suspicion = 0.3;

struct ChartDesign {
  double smallest_shift = 0;     // on the figure's scale
  double fast_shift = 0;         // on the figure's scale
  double false_signals_a_year = 0.01;  // one side
  double turns_a_year = 3000;
};

struct ChartSide {
  float sum = 0;
  std::optional<Time> since;  // the sum last left zero
  std::uint16_t turns = 0;    // in the sum
  std::uint8_t beyond = 0;    // turns in a row beyond the fast path's limit
  bool operator==(const ChartSide&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(sum, since, turns, beyond);
  }
};

struct DriftChart {
  ChartSide up;
  ChartSide down;
  float smooth = 0;          // of the error, over the last turns
  float last_error = 0;      // of the turn before, and whether there was one
  bool begun = false;
  float half_square = 0;     // of the difference between turns in a row, halved, over the last turns
  float far = 0.01F;         // share of turns that were far off and came back; slowly forgotten
  std::uint8_t far_run = 0;  // turns in a row, to the last, that are far off
  bool operator==(const DriftChart&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(up, down, smooth, last_error, begun, half_square, far, far_run);
  }
};

enum class Signal : std::uint8_t { none, small_shift, sudden };

struct ChartReading {
  Signal up = Signal::none;
  Signal down = Signal::none;
  bool suspicious = false;
  double fair_error = 0;  // the error, a lone turn far out drawn in to the fast path's limit
};

// What one turn's error is held against, on the figure's scale.
struct ChartLimits {
  double allowance = 0;  // taken off each error: half the smallest shift and the baseline's own doubt
  double cap = 0;        // more than this an error does not count for
  double limit = 0;      // of the sum
  double fast = 0;       // an error beyond this counts for the fast path
};
// `far_share`: of turns that are far off, see above.
[[nodiscard]] ChartLimits limits_of(const ChartDesign& design, const Expectation& expected, double far_share);

// The share of turns far off as this chart has seen it.
[[nodiscard]] double far_share(const DriftChart& chart);

// The limit that far turns alone ask for: `gain` what one adds, `allowance` what any other takes off. See above.
[[nodiscard]] double limit_for_far_turns(double gain, double allowance, double far_share, double run_length);

// How much rougher the last turns are than the baseline knows: 1 or more, to be called once a turn with its error, before
// `follow`, and put on both deviations of the expectation. The scatter is taken from differences between turns in a row, which
// a lasting shift does not enter: E (e(n) - e(n-1))^2 = 2 sigma^2 (von Neumann et al., Ann. Math. Statist. 12 (1941), from
// memory; the moving range of an individuals chart). Sparse samples can make a figure rough from one day to the next.
[[nodiscard]] double roughness(DriftChart& chart, const Expectation& expected, double error);

// One turn's error (figure minus expectation).
ChartReading follow(DriftChart& chart, const ChartDesign& design, const Expectation& expected, double error, Time time);

// Smoothed error; shrunk towards nothing while few turns stand behind it.
[[nodiscard]] double shift_of(const DriftChart& chart);

// What it has learnt of far turns stays.
void restart(DriftChart& chart);

}  // namespace driftline::rules
