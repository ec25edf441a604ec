#include "rules/statistics/integral_equation.h"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>

namespace driftline::statistics {

Quadrature gauss_legendre(int order, double low, double high) {
  const auto n = static_cast<std::size_t>(order);
  Quadrature q{std::vector<double>(n), std::vector<double>(n)};
  for (std::size_t i = 0; i < n; ++i) {
    double x = std::cos(std::numbers::pi * (static_cast<double>(i) + 0.75) / (order + 0.5));
    double slope = 1;
    for (int step = 0; step < 100; ++step) {
      double p = 1, before = 0;
      for (int j = 0; j < order; ++j) before = std::exchange(p, ((2 * j + 1) * x * p - j * before) / (j + 1));
      slope = order * (x * p - before) / (x * x - 1);
      const double move = p / slope;
      x -= move;
      if (std::fabs(move) < 1e-16) break;
    }
    q.node[i] = 0.5 * (low + high) - 0.5 * (high - low) * x;
    q.weight[i] = (high - low) / ((1 - x * x) * slope * slope);
  }
  return q;
}

std::vector<double> solve(std::vector<double> a, std::vector<double> b) {
  const std::size_t n = b.size();
  for (std::size_t column = 0; column < n; ++column) {
    std::size_t best = column;
    for (std::size_t row = column + 1; row < n; ++row)
      if (std::fabs(a[row * n + column]) > std::fabs(a[best * n + column])) best = row;
    if (best != column) {
      for (std::size_t j = column; j < n; ++j) std::swap(a[best * n + j], a[column * n + j]);
      std::swap(b[best], b[column]);
    }
    for (std::size_t row = column + 1; row < n; ++row) {
      const double factor = a[row * n + column] / a[column * n + column];
      if (factor == 0) continue;
      for (std::size_t j = column; j < n; ++j) a[row * n + j] -= factor * a[column * n + j];
      b[row] -= factor * b[column];
    }
  }
  for (std::size_t row = n; row-- > 0;) {
    for (std::size_t j = row + 1; j < n; ++j) b[row] -= a[row * n + j] * b[j];
    b[row] /= a[row * n + row];
  }
  return b;
}

}  // namespace driftline::statistics
