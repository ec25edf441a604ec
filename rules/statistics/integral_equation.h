// Gauss-Legendre quadrature and the linear systems it leaves: the workshop of run_length.cpp. Pure; any thread.
#pragma once

#include <vector>

namespace driftline::statistics {

struct Quadrature {
  std::vector<double> node;
  std::vector<double> weight;
};

// `order` nodes on [low, high], by Newton's method on the Legendre polynomial; exact for polynomials up to 2*order - 1.
[[nodiscard]] Quadrature gauss_legendre(int order, double low, double high);

// Solves a*x = b, `a` row by row, by elimination with row pivoting; O(n^3). A singular matrix is a programmer's mistake.
[[nodiscard]] std::vector<double> solve(std::vector<double> a, std::vector<double> b);

}  // namespace driftline::statistics
