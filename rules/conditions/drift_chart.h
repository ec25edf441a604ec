// Has a figure left its baseline for good? Two one-sided cumulative sums for small lasting shifts, a smoothed value for the
// size of the shift, and a fast path for sudden ones.
//
//   up(n)   = max(0, up(n-1)   + min(e, cap) - k - c*m)         down likewise with -e
//   k = smallest shift that matters / 2,  m = deviation of the baseline's own value,  c = 1.5
//
// signals when it exceeds h * lasting, `lasting` the figure's lasting deviation (rules/baseline/figure_baseline.h). h is
// derived from the false signals a year that the engineer allows: with K = k/lasting, the run length in control that is
// wanted, L = turns a year / signals a year, gives h by Siegmund's approximation
//   L = (exp(2 K b) - 2 K b - 1) / (2 K^2),  b = h + 1.166
// (Siegmund, Sequential Analysis, 1985; formula from memory, within 1 % of the exact run lengths of Brook & Evans' Markov
// chain at k 0.5, h 5; tests/unit/conditions/drift_chart_test.cpp). Using the lasting deviation makes it hold for
// autocorrelated turns: the sum of many behaves like that of independent ones with that deviation (Brownian limit).
// `h_guard` pays for tails heavier than the normal's and for limits estimated from few turns.
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

inline constexpr double h_guard = 1.25;
inline constexpr double suspicion = 0.2;

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
  bool operator==(const DriftChart&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(up, down, smooth, last_error, begun, half_square);
  }
};

enum class Signal : std::uint8_t { none, small_shift, sudden };

struct ChartReading {
  Signal up = Signal::none;
  Signal down = Signal::none;
  bool suspicious = false;
  double fair_error = 0;  // the error, a lone turn far out drawn in to the fast path's limit
};

// Decision interval in lasting deviations; see above. Pure.
[[nodiscard]] double decision_interval(double k_in_deviations, double run_length);

// What one turn's error is held against, on the figure's scale.
struct ChartLimits {
  double allowance = 0;  // taken off each error: half the smallest shift and the baseline's own doubt
  double cap = 0;        // more than this an error does not count for
  double limit = 0;      // of the sum
  double fast = 0;       // an error beyond this counts for the fast path
};
[[nodiscard]] ChartLimits limits_of(const ChartDesign& design, const Expectation& expected);

// How much rougher the last turns are than the baseline knows: 1 or more, to be called once a turn with its error, before
// `follow`, and put on both deviations of the expectation. The scatter is taken from differences between turns in a row, which
// a lasting shift does not enter: E (e(n) - e(n-1))^2 = 2 sigma^2 (von Neumann et al., Ann. Math. Statist. 12 (1941), from
// memory; the moving range of an individuals chart). Sparse samples can make a figure rough from one day to the next.
[[nodiscard]] double roughness(DriftChart& chart, const Expectation& expected, double error);

// One turn's error (figure minus expectation).
ChartReading follow(DriftChart& chart, const ChartDesign& design, const Expectation& expected, double error, Time time);

// Smoothed error; shrunk towards nothing while few turns stand behind it.
[[nodiscard]] double shift_of(const DriftChart& chart);

void restart(DriftChart& chart);

}  // namespace driftline::rules
