// A straight line through points, least squares.
#pragma once

#include <cmath>
#include <span>

#include "gateway/cycles/trace.h"

namespace driftline::cycles {

struct StraightLine {
  double slope = 0;
  double at_mean = 0;   // mean of x
  double mean = 0;      // mean of y
  double square_x = 0;  // sum of squares about the mean
  double rms = 0;
  std::size_t n = 0;
};

inline StraightLine straight_line(std::span<const LinePoint> points) {
  StraightLine fit;
  fit.n = points.size();
  for (const LinePoint& p : points) {
    fit.at_mean += p.at_s;
    fit.mean += p.bar;
  }
  fit.at_mean /= static_cast<double>(fit.n);
  fit.mean /= static_cast<double>(fit.n);
  double cross = 0;
  for (const LinePoint& p : points) {
    fit.square_x += (p.at_s - fit.at_mean) * (p.at_s - fit.at_mean);
    cross += (p.at_s - fit.at_mean) * (p.bar - fit.mean);
  }
  fit.slope = fit.square_x > 0 ? cross / fit.square_x : 0;
  double squares = 0;
  for (const LinePoint& p : points) {
    const double miss = p.bar - fit.mean - fit.slope * (p.at_s - fit.at_mean);
    squares += miss * miss;
  }
  fit.rms = fit.n > 2 ? std::sqrt(squares / static_cast<double>(fit.n - 2)) : 0;
  return fit;
}

}  // namespace driftline::cycles
