// Control charts as they run: a few doubles, one step O(1). Values and plain arithmetic; no limits are guessed here: the
// decision interval comes from rules/statistics/run_length.h. Pure; any thread.
//
// Checked in tests/reference/charts_test.cpp (NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4, Montgomery example 9.1,
// a documented Page-Hinkley stream).
#pragma once

#include <algorithm>
#include <cmath>

namespace driftline::statistics {

// Tabular CUSUM of standardised values: upper = max(0, upper + z - k), lower = max(0, lower - z - k).
// A head start (Lucas & Crosier 1982) is the value both sides start from, h/2 as a rule.
struct Cusum {
  double upper = 0;
  double lower = 0;
  int upper_run = 0;  // values since `upper` was last 0: the shift began that many values ago
  int lower_run = 0;
  bool operator==(const Cusum&) const = default;

  [[nodiscard]] static Cusum with_head_start(double start) { return {start, start, 0, 0}; }

  void add(double z, double k) {
    upper = std::max(0.0, upper + z - k);
    lower = std::max(0.0, lower - z - k);
    upper_run = upper > 0 ? upper_run + 1 : 0;
    lower_run = lower > 0 ? lower_run + 1 : 0;
  }
  [[nodiscard]] bool above(double h) const { return upper > h; }
  [[nodiscard]] bool below(double h) const { return lower > h; }
  // Mean of the values since the sum was 0 (Montgomery & Runger, section 16-10): target + k + S/N.
  [[nodiscard]] double upper_shift(double k) const { return upper_run > 0 ? k + upper / upper_run : 0; }
  [[nodiscard]] double lower_shift(double k) const { return lower_run > 0 ? -k - lower / lower_run : 0; }

  template <class Archive>
  void serialize(Archive& archive) {
    archive(upper, lower, upper_run, lower_run);
  }
};

// Exponentially weighted moving average of standardised values, 0 < lambda <= 1.
struct Ewma {
  double value = 0;
  double remaining = 1;  // (1-lambda)^n: what the start still weighs
  bool operator==(const Ewma&) const = default;

  void add(double z, double lambda) {
    value += lambda * (z - value);
    remaining *= 1 - lambda;
  }
  // Standard deviation of `value` in control, exact for the number of values so far; `lasting_sigma` is its limit.
  [[nodiscard]] double sigma(double lambda) const { return lasting_sigma(lambda) * std::sqrt(1 - remaining * remaining); }
  [[nodiscard]] static double lasting_sigma(double lambda) { return std::sqrt(lambda / (2 - lambda)); }

  template <class Archive>
  void serialize(Archive& archive) {
    archive(value, remaining);
  }
};

// Page-Hinkley test for a rise of the mean, which it learns as it goes (Page, Biometrika 41 (1954) 100-115).
// Start anew (`{}`) after an alarm.
struct PageHinkley {
  int count = 0;
  double mean = 0;
  double sum = 0;
  bool operator==(const PageHinkley&) const = default;

  struct Settings {
    double delta = 0.005;   // rise that is let pass, in the unit of the values
    double alpha = 0.9999;  // forgetting of the sum
    double threshold = 50;
    int count_min = 30;
  };
  // True: alarm.
  bool add(double x, const Settings& settings) {
    ++count;
    mean += (x - mean) / count;
    sum = std::max(0.0, settings.alpha * sum + x - mean - settings.delta);
    return count >= settings.count_min && sum >= settings.threshold;
  }

  template <class Archive>
  void serialize(Archive& archive) {
    archive(count, mean, sum);
  }
};

}  // namespace driftline::statistics
