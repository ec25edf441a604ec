// Straight line by least squares, with what it does not know. Pure; any thread.
//
// LineSums is the streaming form: 48 bytes, one step O(1), mean-centred (West's update), so that large offsets cost no digits.
// Source of the interval formulas: any text on regression (Draper & Smith, chapter 1, from memory); Fieller (1954) for the
// inverse (from memory). Checked in tests/reference/linear_fit_test.cpp (NIST StRD Norris, R's cars).
#pragma once

#include <optional>
#include <span>

namespace driftline::statistics {

struct LineSums {
  double weight = 0;  // number of points, or the sum of their weights
  double mean_x = 0;
  double mean_y = 0;
  double sxx = 0;     // sums of squares and products about the means
  double sxy = 0;
  double syy = 0;
  bool operator==(const LineSums&) const = default;

  void add(double x, double y, double w = 1);
  void fade(double factor);  // all earlier points count `factor` times what they did: exponential forgetting
  template <class Archive>
  void serialize(Archive& archive) {
    archive(weight, mean_x, mean_y, sxx, sxy, syy);
  }
};

struct Interval {
  double low = 0;
  double high = 0;
  bool operator==(const Interval&) const = default;
};

struct LineFit {
  LineSums sums;
  double slope = 0;
  double intercept = 0;
  double slope_error = 0;      // standard error
  double intercept_error = 0;
  double residual_sd = 0;      // on `degrees` degrees of freedom
  double degrees = 0;
  double r_squared = 0;
  bool operator==(const LineFit&) const = default;

  [[nodiscard]] double at(double x) const { return sums.mean_y + slope * (x - sums.mean_x); }
  // Of the mean line, and of one further observation, at x.
  [[nodiscard]] Interval confidence(double x, double confidence_level = 0.95) const;
  [[nodiscard]] Interval prediction(double x, double confidence_level = 0.95) const;
};

// Needs three points (weight > 2) and two different x.
[[nodiscard]] std::optional<LineFit> fit_line(const LineSums& sums);
[[nodiscard]] std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y);

// The x at which the mean line meets `y`, with Fieller's interval:
//   g = t^2 s^2/(b^2 Sxx), d = x0 - xbar, limits xbar + d/(1-g) +- (t s/b)/(1-g) sqrt((1-g)/n + d^2/Sxx).
// With g >= 1 the slope is not told from 0: no interval exists and none may be claimed, the result is empty.
struct InversePrediction {
  double x = 0;
  double low = 0;
  double high = 0;
  double g = 0;
  bool operator==(const InversePrediction&) const = default;
};
[[nodiscard]] std::optional<InversePrediction> x_where(const LineFit& fit, double y, double confidence_level = 0.95);

}  // namespace driftline::statistics
