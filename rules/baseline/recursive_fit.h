// Bayesian linear regression y = x'b + e, one observation at a time, in bounded memory.
//
//   v = x'Px + r,   k = Px/v,   b += k (y - x'b),   P -= k (Px)'
//
// b is the mean and P the covariance of the coefficients after the turns so far; r the variance of one observation. With the
// prior b0, P0 this equals the ridge-type solution (X'X/r + P0^-1)^-1 (X'y/r + P0^-1 b0); a test compares the two.
// Source: recursive least squares as the Kalman filter of a constant state, e.g. Harvey, Forecasting, Structural Time
// Series Models and the Kalman Filter (1989), section 3.2 (from memory); checked against the closed form.
// Pure; any thread.
#pragma once

#include <array>
#include <cstddef>

namespace driftline::rules {

template <std::size_t N>
struct RecursiveFit {
  using Row = std::array<double, N>;

  Row mean{};                                 // b
  std::array<float, N*(N + 1) / 2> spread{};  // P, lower triangle by rows; seven digits are plenty for a spread

  bool operator==(const RecursiveFit&) const = default;

  static constexpr std::size_t at(std::size_t i, std::size_t j) { return i >= j ? i * (i + 1) / 2 + j : j * (j + 1) / 2 + i; }

  static RecursiveFit with_prior(const Row& mean, const Row& deviation) {
    RecursiveFit fit;
    fit.mean = mean;
    for (std::size_t i = 0; i < N; ++i) fit.spread[at(i, i)] = static_cast<float>(deviation[i] * deviation[i]);
    return fit;
  }

  [[nodiscard]] double value(const Row& x) const {
    double sum = 0;
    for (std::size_t i = 0; i < N; ++i) sum += x[i] * mean[i];
    return sum;
  }

  // Variance of value(x) from not knowing the coefficients.
  [[nodiscard]] double variance(const Row& x) const {
    double sum = 0;
    for (std::size_t i = 0; i < N; ++i) {
      sum += x[i] * x[i] * double{spread[at(i, i)]};
      for (std::size_t j = 0; j < i; ++j) sum += 2 * x[i] * x[j] * double{spread[at(i, j)]};
    }
    return sum > 0 ? sum : 0;
  }

  void learn(const Row& x, double y, double observation_variance) {
    Row px{};
    double v = observation_variance;
    for (std::size_t i = 0; i < N; ++i) {
      for (std::size_t j = 0; j < N; ++j) px[i] += double{spread[at(i, j)]} * x[j];
      v += px[i] * x[i];
    }
    const double error = y - value(x);
    for (std::size_t i = 0; i < N; ++i) mean[i] += px[i] / v * error;
    for (std::size_t i = 0; i < N; ++i)
      for (std::size_t j = 0; j <= i; ++j) spread[at(i, j)] -= static_cast<float>(px[i] * px[j] / v);
  }

  // The coefficient is believed less: it may have wandered by this variance.
  void loosen(std::size_t i, double variance_added) { spread[at(i, i)] += static_cast<float>(variance_added); }

  // The coefficient is forgotten; what was learnt of the others stays.
  void forget(std::size_t i, double deviation) {
    for (std::size_t j = 0; j < N; ++j) spread[at(i, j)] = 0;
    spread[at(i, i)] = static_cast<float>(deviation * deviation);
  }

  template <class Archive>
  void serialize(Archive& archive) {
    archive(mean, spread);
  }
};

}  // namespace driftline::rules
