// How long a chart runs before it signals, for independent normal values of standard deviation 1 and mean `shift`; and the
// limit that gives a wanted run length. From these the decision limits are derived, not guessed: a limit for one false
// signal in n turns is cusum_interval(..., n).
//
// The average run length L solves an integral equation, e.g. for the one-sided CUSUM started at z
//   L(z) = 1 + L(0) P(k - z - shift) + integral over 0..h of L(x) p(x + k - z - shift) dx
// (P, p the normal law and density; Page 1954). It is solved by Nystroem's method on Gauss-Legendre nodes, which converges
// faster than any power of their number; run lengths that change in time (drift, exact EWMA limits) by carrying the density
// of the running sum forward. Checked to 4 digits or better in tests/reference/run_length_test.cpp.
//
// Autocorrelated values signal more often than this: whiten them first. Pure; any thread. Cost: about 0.3 ms a run length
// (60 nodes), 3 ms an interval: compute at configuration, not per turn.
#pragma once

namespace driftline::statistics {

enum class Sides : unsigned char { one, two };

struct CusumDesign {
  double k = 0.5;           // reference value, half the shift that matters, in standard deviations; >= 0
  double h = 5;             // decision interval; > 0
  double head_start = 0;    // 0..h
  Sides sides = Sides::two; // two: an upper and a lower sum together
};
// Two sides without a head start: 1/L = 1/L+ + 1/L-; with one, Lucas & Crosier (1982):
// L = (L+(s)L-(0) + L-(s)L+(0) - L+(0)L-(0)) / (L+(0) + L-(0)).
[[nodiscard]] double cusum_run_length(const CusumDesign& design, double shift = 0);

// The h whose in-control average run length is `run_length` (> 2), to 1e-9.
[[nodiscard]] double cusum_interval(double k, double run_length, Sides sides = Sides::two);

// Mean delay of a one-sided CUSUM that has run long in control without a signal before the shift comes (cyclical restarts
// left out: the quasi-stationary law of the sum).
[[nodiscard]] double cusum_steady_delay(double k, double h, double shift);

// The smallest n with P(run length <= n) >= p; one-sided.
[[nodiscard]] int cusum_run_length_quantile(double k, double h, double shift, double p);

// Mean rising by `per_value` (> 0) with each value, the first value's mean being `first_mean`; one-sided.
[[nodiscard]] double cusum_run_length_under_drift(double k, double h, double per_value, double first_mean = 0);

enum class EwmaLimits : unsigned char {
  fixed,  // +- width * sqrt(lambda/(2-lambda)) from the first value on
  exact,  // +- width * the exact standard deviation after n values
};
struct EwmaDesign {
  double lambda = 0.1;
  double width = 2.814;     // in standard deviations of the average
  EwmaLimits limits = EwmaLimits::fixed;
  double head_start = 0;    // share of the limit, 0..1, on both sides: limit less head_start * limit * (1-lambda)^n
  Sides sides = Sides::two; // one: the average is never let below 0 (fixed limits, no head start)
};
[[nodiscard]] double ewma_run_length(const EwmaDesign& design, double shift = 0);
[[nodiscard]] double ewma_run_length_under_drift(const EwmaDesign& design, double per_value, double first_mean = 0);

// The width whose in-control average run length is `run_length`, two-sided, fixed limits, to 1e-9.
[[nodiscard]] double ewma_width(double lambda, double run_length);

}  // namespace driftline::statistics
