#include "rules/statistics/distributions.h"

#include <cmath>
#include <limits>
#include <numbers>

namespace driftline::statistics {
namespace {

constexpr double tiny = 1e-300;

// Continued fraction of the incomplete beta function, by the modified Lentz method (DLMF 8.17.22, from memory).
double beta_fraction(double a, double b, double x) {
  double c = 1, d = 1 - (a + b) * x / (a + 1);
  d = 1 / (std::fabs(d) < tiny ? tiny : d);
  double f = d;
  for (int m = 1; m <= 500; ++m) {
    const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 + even * d;
    d = 1 / (std::fabs(d) < tiny ? tiny : d);
    c = 1 + even / c;
    if (std::fabs(c) < tiny) c = tiny;
    f *= d * c;
    const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 + odd * d;
    d = 1 / (std::fabs(d) < tiny ? tiny : d);
    c = 1 + odd / c;
    if (std::fabs(c) < tiny) c = tiny;
    const double step = d * c;
    f *= step;
    if (std::fabs(step - 1) < 1e-16) break;
  }
  return f;
}

// log of the gamma function; std::lgamma writes a global, which a shard's thread must not.
double log_gamma(double x) {
  // Lanczos approximation, g = 7, nine terms: relative error below 1e-14 for x > 0.5 (coefficients from memory,
  // checked through the t quantiles).
  static constexpr double c[] = {0.99999999999980993,  676.5203681218851,     -1259.1392167224028,
                                 771.32342877765313,   -176.61502916214059,   12.507343278686905,
                                 -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7};
  if (x < 0.5) return std::log(std::numbers::pi / std::sin(std::numbers::pi * x)) - log_gamma(1 - x);
  double sum = c[0];
  for (int i = 1; i < 9; ++i) sum += c[i] / (x - 1 + i);
  const double t = x - 1 + 7.5;
  return 0.5 * std::log(2 * std::numbers::pi) + (x - 0.5) * std::log(t) - t + std::log(sum);
}

double incomplete_beta(double a, double b, double x) {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  const double front = std::exp(log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * std::log(x) + b * std::log1p(-x));
  if (x < (a + 1) / (a + b + 2)) return front * beta_fraction(a, b, x) / a;
  return 1 - front * beta_fraction(b, a, 1 - x) / b;
}

}  // namespace

double normal_density(double z) { return std::exp(-0.5 * z * z) / std::sqrt(2 * std::numbers::pi); }

double normal_probability(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

double normal_quantile(double p) {
  if (p <= 0) return -std::numeric_limits<double>::infinity();
  if (p >= 1) return std::numeric_limits<double>::infinity();
  if (p > 0.5) return -normal_quantile(1 - p);
  // Start: Abramowitz & Stegun 26.2.23 (error below 4.5e-4), then Halley's steps on the exact law.
  const double t = std::sqrt(-2 * std::log(p));
  double z = -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
  for (int i = 0; i < 3; ++i) {
    const double u = (normal_probability(z) - p) / normal_density(z);
    z -= u / (1 + 0.5 * z * u);
  }
  return z;
}

double student_probability(double t, double degrees) {
  const double tail = 0.5 * incomplete_beta(0.5 * degrees, 0.5, degrees / (degrees + t * t));
  return t > 0 ? 1 - tail : tail;
}

double student_quantile(double p, double degrees) {
  if (p <= 0) return -std::numeric_limits<double>::infinity();
  if (p >= 1) return std::numeric_limits<double>::infinity();
  if (p > 0.5) return -student_quantile(1 - p, degrees);
  double low = -1;
  while (student_probability(low, degrees) > p) low *= 2;
  double high = 0;
  for (int i = 0; i < 200 && high - low > 1e-15 * std::fabs(low); ++i) {
    const double middle = 0.5 * (low + high);
    (student_probability(middle, degrees) > p ? high : low) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace driftline::statistics
