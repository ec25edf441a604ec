#include "rules/statistics/run_length.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

#include "rules/statistics/distributions.h"
#include "rules/statistics/integral_equation.h"

namespace driftline::statistics {
namespace {

// Enough nodes that twice as many change no digit shown: the kernel is one standard deviation wide.
int order_for(double interval_in_sigmas) { return 40 + 4 * static_cast<int>(std::ceil(interval_in_sigmas)); }

// One-sided CUSUM on [0, h]: the point 0 has mass of its own.
struct CusumLaw {
  double k, h;
  Quadrature q;

  CusumLaw(double k_, double h_) : k(k_), h(h_), q(gauss_legendre(order_for(h_), 0, h_)) {}
  [[nodiscard]] std::size_t size() const { return q.node.size(); }

  // L at 0, then at the nodes.
  [[nodiscard]] std::vector<double> run_lengths(double shift) const {
    const std::size_t n = size() + 1;
    std::vector<double> a(n * n), b(n, 1.0);
    for (std::size_t i = 0; i < n; ++i) {
      const double z = i == 0 ? 0 : q.node[i - 1];
      a[i * n] = -normal_probability(k - z - shift);
      for (std::size_t j = 1; j < n; ++j) a[i * n + j] = -q.weight[j - 1] * normal_density(q.node[j - 1] + k - z - shift);
      a[i * n + i] += 1;
    }
    return solve(std::move(a), std::move(b));
  }

  [[nodiscard]] double run_length_from(double z, double shift, const std::vector<double>& lengths) const {
    double sum = 1 + lengths[0] * normal_probability(k - z - shift);
    for (std::size_t j = 0; j < size(); ++j)
      sum += q.weight[j] * lengths[j + 1] * normal_density(q.node[j] + k - z - shift);
    return sum;
  }
};

// Law of the sum after n values without a signal: mass at 0 and density at the nodes.
struct Running {
  double at_zero = 1;
  std::vector<double> density;

  explicit Running(const CusumLaw& law) : density(law.size(), 0.0) {}

  void step(const CusumLaw& law, double mean) {
    std::vector<double> next(density.size());
    double zero = at_zero * normal_probability(law.k - mean);
    for (std::size_t j = 0; j < density.size(); ++j)
      zero += law.q.weight[j] * density[j] * normal_probability(law.k - law.q.node[j] - mean);
    for (std::size_t i = 0; i < next.size(); ++i) {
      next[i] = at_zero * normal_density(law.q.node[i] + law.k - mean);
      for (std::size_t j = 0; j < next.size(); ++j)
        next[i] += law.q.weight[j] * density[j] * normal_density(law.q.node[i] - law.q.node[j] + law.k - mean);
    }
    at_zero = zero;
    density = std::move(next);
  }
  [[nodiscard]] double survival(const CusumLaw& law) const {
    double sum = at_zero;
    for (std::size_t j = 0; j < density.size(); ++j) sum += law.q.weight[j] * density[j];
    return sum;
  }
  void scale(double factor) {
    at_zero *= factor;
    for (double& d : density) d *= factor;
  }
};

struct TwoStarts {
  double zero = 0;  // started at 0
  double head = 0;  // started at the head start
};

TwoStarts one_side(const CusumLaw& law, double head_start, double shift) {
  const auto lengths = law.run_lengths(shift);
  return {lengths[0], head_start > 0 ? law.run_length_from(head_start, shift, lengths) : lengths[0]};
}

// Root of a rising function whose logarithm is nearly straight in x: secant steps on log L.
double solve_for(double wanted, double low, double high, const std::function<double(double)>& length) {
  const double goal = std::log(wanted);
  double f_low = std::log(length(low)) - goal, f_high = std::log(length(high)) - goal;
  for (int step = 0; step < 60 && std::fabs(high - low) > 1e-11; ++step) {
    if (f_high == f_low) break;
    const double next = std::max(1e-6, high - f_high * (high - low) / (f_high - f_low));
    low = high;
    f_low = f_high;
    high = next;
    f_high = std::log(length(high)) - goal;
  }
  return high;
}

// The EWMA started at 0 with limits that may change: density carried forward on [-c, c] of the lasting limit, cut at the
// limit in force by a quadrature of its own for each step.
struct EwmaLaw {
  double lambda, c;
  int order;

  explicit EwmaLaw(const EwmaDesign& design)
      : lambda(design.lambda),
        c(design.width * std::sqrt(design.lambda / (2 - design.lambda))),
        order(order_for(2 * c / design.lambda)) {}

  [[nodiscard]] double kernel(double to, double from, double mean) const {
    return normal_density((to - (1 - lambda) * from) / lambda - mean) / lambda;
  }
};

struct Solution {
  Quadrature q;
  std::vector<double> length;
  double at_zero = 0;
};

Solution ewma_lengths(const EwmaLaw& law, double shift) {
  Solution s{gauss_legendre(law.order, -law.c, law.c), {}, 1};
  const std::size_t n = s.q.node.size();
  std::vector<double> a(n * n), b(n, 1.0);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) a[i * n + j] = -s.q.weight[j] * law.kernel(s.q.node[j], s.q.node[i], shift);
    a[i * n + i] += 1;
  }
  s.length = solve(std::move(a), std::move(b));
  for (std::size_t j = 0; j < n; ++j) s.at_zero += s.q.weight[j] * s.length[j] * law.kernel(s.q.node[j], 0, shift);
  return s;
}

// One-sided with a floor at 0, which has mass of its own, as the CUSUM's.
double ewma_one_sided(const EwmaLaw& law, double shift) {
  const Quadrature q = gauss_legendre(law.order, 0, law.c);
  const std::size_t n = q.node.size() + 1;
  std::vector<double> a(n * n), b(n, 1.0);
  for (std::size_t i = 0; i < n; ++i) {
    const double z = i == 0 ? 0 : q.node[i - 1];
    a[i * n] = -normal_probability(-(1 - law.lambda) * z / law.lambda - shift);
    for (std::size_t j = 1; j < n; ++j) a[i * n + j] = -q.weight[j - 1] * law.kernel(q.node[j - 1], z, shift);
    a[i * n + i] += 1;
  }
  return solve(std::move(a), std::move(b))[0];
}

struct EwmaRunning {
  Quadrature q;
  std::vector<double> density;
  [[nodiscard]] double survival() const {
    double sum = 0;
    for (std::size_t j = 0; j < density.size(); ++j) sum += q.weight[j] * density[j];
    return sum;
  }
};

EwmaRunning step(const EwmaLaw& law, const EwmaRunning& before, double limit, double mean) {
  EwmaRunning after{gauss_legendre(law.order, -limit, limit), {}};
  after.density.assign(after.q.node.size(), 0.0);
  for (std::size_t i = 0; i < after.density.size(); ++i) {
    if (before.density.empty()) {  // started at exactly 0
      after.density[i] = law.kernel(after.q.node[i], 0, mean);
      continue;
    }
    for (std::size_t j = 0; j < before.density.size(); ++j)
      after.density[i] += before.q.weight[j] * before.density[j] * law.kernel(after.q.node[i], before.q.node[j], mean);
  }
  return after;
}

double limit_after(const EwmaDesign& design, double c, int n) {
  const double kept = std::pow(1 - design.lambda, n);
  const double exact = design.limits == EwmaLimits::exact ? c * std::sqrt(1 - kept * kept) : c;
  return exact - design.head_start * c * kept;
}

constexpr double negligible = 1e-13;
constexpr int values_max = 2'000'000;

}  // namespace

double cusum_run_length(const CusumDesign& design, double shift) {
  const CusumLaw law(design.k, design.h);
  const TwoStarts up = one_side(law, design.head_start, shift);
  if (design.sides == Sides::one) return up.head;
  const TwoStarts down = one_side(law, design.head_start, -shift);
  return (up.head * down.zero + down.head * up.zero - up.zero * down.zero) / (up.zero + down.zero);
}

double cusum_interval(double k, double run_length, Sides sides) {
  return solve_for(run_length, 2, 4, [&](double h) { return cusum_run_length({k, h, 0, sides}); });
}

double cusum_steady_delay(double k, double h, double shift) {
  const CusumLaw law(k, h);
  Running in_control(law);
  double kept = 0;
  for (int n = 0; n < values_max; ++n) {
    in_control.step(law, 0);
    const double now = in_control.survival(law);
    in_control.scale(1 / now);
    if (std::fabs(now - kept) < 1e-15) break;
    kept = now;
  }
  const auto lengths = law.run_lengths(shift);
  double delay = in_control.at_zero * lengths[0];
  for (std::size_t j = 0; j < law.size(); ++j) delay += law.q.weight[j] * in_control.density[j] * lengths[j + 1];
  return delay;
}

int cusum_run_length_quantile(double k, double h, double shift, double p) {
  const CusumLaw law(k, h);
  Running running(law);
  for (int n = 1; n < values_max; ++n) {
    running.step(law, shift);
    if (1 - running.survival(law) >= p) return n;
  }
  return values_max;
}

double cusum_run_length_under_drift(double k, double h, double per_value, double first_mean) {
  const CusumLaw law(k, h);
  Running running(law);
  double length = 1;
  for (int n = 0; n < values_max; ++n) {
    running.step(law, first_mean + per_value * n);
    const double survival = running.survival(law);
    length += survival;
    if (survival < negligible) break;
  }
  return length;
}

double ewma_run_length(const EwmaDesign& design, double shift) {
  const EwmaLaw law(design);
  if (design.sides == Sides::one) return ewma_one_sided(law, shift);
  const Solution lasting = ewma_lengths(law, shift);
  if (design.limits == EwmaLimits::fixed && design.head_start == 0) return lasting.at_zero;
  double length = 0, survival = 1;
  EwmaRunning running;
  for (int n = 1; n < values_max; ++n) {
    length += survival;
    const double limit = limit_after(design, law.c, n);
    running = step(law, running, limit, shift);
    survival = running.survival();
    if (survival < negligible || law.c - limit < 1e-10 * law.c) break;
  }
  // From here on the limits no longer move: the rest is the lasting solution, read between its nodes by its own equation.
  for (std::size_t i = 0; i < running.density.size(); ++i) {
    double rest = 1;
    for (std::size_t j = 0; j < lasting.length.size(); ++j)
      rest += lasting.q.weight[j] * lasting.length[j] * law.kernel(lasting.q.node[j], running.q.node[i], shift);
    length += running.q.weight[i] * running.density[i] * rest;
  }
  return length;
}

double ewma_run_length_under_drift(const EwmaDesign& design, double per_value, double first_mean) {
  const EwmaLaw law(design);
  EwmaRunning running;
  double length = 1;
  for (int n = 1; n < values_max; ++n) {
    running = step(law, running, limit_after(design, law.c, n), first_mean + per_value * (n - 1));
    const double survival = running.survival();
    length += survival;
    if (survival < negligible) break;
  }
  return length;
}

double ewma_width(double lambda, double run_length) {
  return solve_for(run_length, 2, 3, [&](double width) { return ewma_run_length({.lambda = lambda, .width = width}); });
}

}  // namespace driftline::statistics
