#include "rules/statistics/linear_fit.h"

#include <algorithm>
#include <cmath>

#include "rules/statistics/distributions.h"

namespace driftline::statistics {
namespace {

Interval about(double centre, double reach) { return {centre - reach, centre + reach}; }

double t_for(const LineFit& fit, double level) { return student_quantile(0.5 + level / 2, fit.degrees); }

}  // namespace

void LineSums::add(double x, double y, double w) {
  if (w <= 0) return;
  const double dx = x - mean_x, dy = y - mean_y;
  const double share = w / (weight + w);
  sxx += weight * share * dx * dx;
  sxy += weight * share * dx * dy;
  syy += weight * share * dy * dy;
  weight += w;
  mean_x += share * dx;
  mean_y += share * dy;
}

void LineSums::fade(double factor) {
  weight *= factor;
  sxx *= factor;
  sxy *= factor;
  syy *= factor;
}

std::optional<LineFit> fit_line(const LineSums& sums) {
  if (sums.weight <= 2 || sums.sxx <= 0) return std::nullopt;
  LineFit fit{.sums = sums};
  fit.degrees = sums.weight - 2;
  fit.slope = sums.sxy / sums.sxx;
  fit.intercept = sums.mean_y - fit.slope * sums.mean_x;
  const double residual = std::max(0.0, sums.syy - fit.slope * sums.sxy);
  fit.residual_sd = std::sqrt(residual / fit.degrees);
  fit.slope_error = fit.residual_sd / std::sqrt(sums.sxx);
  fit.intercept_error = fit.residual_sd * std::sqrt(1 / sums.weight + sums.mean_x * sums.mean_x / sums.sxx);
  fit.r_squared = sums.syy > 0 ? 1 - residual / sums.syy : 1;
  return fit;
}

std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y) {
  LineSums sums;
  const std::size_t n = std::min(x.size(), y.size());
  for (std::size_t i = 0; i < n; ++i) sums.add(x[i], y[i]);
  auto fit = fit_line(sums);
  if (!fit) return fit;
  // Residuals from the points themselves: syy - b*sxy loses half the digits when the line is almost exact.
  double squares = 0;
  for (std::size_t i = 0; i < n; ++i) squares += std::pow(y[i] - fit->at(x[i]), 2);
  const double scale = fit->residual_sd > 0 ? std::sqrt(squares / fit->degrees) / fit->residual_sd : 1;
  fit->residual_sd *= scale;
  fit->slope_error *= scale;
  fit->intercept_error *= scale;
  fit->r_squared = sums.syy > 0 ? 1 - squares / sums.syy : 1;
  return fit;
}

Interval LineFit::confidence(double x, double confidence_level) const {
  const double d = x - sums.mean_x;
  return about(at(x), t_for(*this, confidence_level) * residual_sd * std::sqrt(1 / sums.weight + d * d / sums.sxx));
}

Interval LineFit::prediction(double x, double confidence_level) const {
  const double d = x - sums.mean_x;
  return about(at(x), t_for(*this, confidence_level) * residual_sd * std::sqrt(1 + 1 / sums.weight + d * d / sums.sxx));
}

std::optional<InversePrediction> x_where(const LineFit& fit, double y, double confidence_level) {
  const double t = t_for(fit, confidence_level);
  const double g = std::pow(t * fit.slope_error, 2) / (fit.slope * fit.slope);
  if (!(g < 1)) return std::nullopt;
  const double d = (y - fit.sums.mean_y) / fit.slope;
  const double reach = std::fabs(t * fit.residual_sd / fit.slope) / (1 - g) *
                       std::sqrt((1 - g) / fit.sums.weight + d * d / fit.sums.sxx);
  const double centre = fit.sums.mean_x + d / (1 - g);
  return InversePrediction{fit.sums.mean_x + d, centre - reach, centre + reach, g};
}

}  // namespace driftline::statistics
