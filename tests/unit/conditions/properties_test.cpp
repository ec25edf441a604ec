// Properties of charts, forecasts and diagnosis that hold whatever the figures do.
#include <gtest/gtest.h>
#include <rapidcheck.h>

#include <cmath>
#include <vector>

#include "rules/conditions/drift_chart.h"
#include "rules/conditions/wear_forecast.h"
#include "rules/diagnosis/diagnosis.h"

namespace driftline::rules {
namespace {

double any(double low, double high) { return low + (high - low) * *rc::gen::inRange(0, 10'001) / 10'000; }

std::vector<double> any_errors() {
  std::vector<double> errors(static_cast<std::size_t>(*rc::gen::inRange(1, 60)));
  const double shift = any(-0.3, 0.3);
  for (double& e : errors) e = shift + any(-0.05, 0.05) + (*rc::gen::inRange(0, 15) == 0 ? any(-1, 1) : 0);
  return errors;
}

Time turn(std::size_t number) { return time_from_ms(1772323200000 + static_cast<std::int64_t>(number) * 3600000); }

// If this fails a line that gets quicker is judged by other rules than one that gets slower.
TEST(Properties, errors_turned_round_turn_the_chart_round) {
  EXPECT_TRUE(rc::check([] {
    const ChartDesign design{.smallest_shift = any(0.01, 0.1), .fast_shift = any(0.1, 0.3), .false_signals_a_year = 0.02, .turns_a_year = 5000};
    const Expectation expected{.value = 0, .model_deviation = any(0, 0.05), .deviation = any(0.003, 0.03), .lasting_deviation = any(0.03, 0.06)};
    DriftChart chart;
    DriftChart mirror;
    const auto errors = any_errors();
    for (std::size_t i = 0; i < errors.size(); ++i) {
      RC_ASSERT(roughness(chart, expected, errors[i]) == roughness(mirror, expected, -errors[i]));
      const ChartReading a = follow(chart, design, expected, errors[i], turn(i));
      const ChartReading b = follow(mirror, design, expected, -errors[i], turn(i));
      RC_ASSERT(a.up == b.down);
      RC_ASSERT(a.down == b.up);
      RC_ASSERT(a.suspicious == b.suspicious);
      RC_ASSERT(a.fair_error == -b.fair_error);
      RC_ASSERT(shift_of(chart) == -shift_of(mirror));
    }
  }));
}

// If this fails some figures make a scatter smaller than is known, and a chart cry wolf.
TEST(Properties, roughness_is_never_below_one_and_always_a_number) {
  EXPECT_TRUE(rc::check([] {
    const Expectation expected{.value = 0, .model_deviation = 0, .deviation = any(0, 0.03), .lasting_deviation = any(0, 0.06)};
    DriftChart chart;
    for (const double error : any_errors()) {
      const double rough = roughness(chart, expected, error);
      RC_ASSERT(std::isfinite(rough));
      RC_ASSERT(rough >= 1.0);
    }
  }));
}

// If this fails a forecast lies in the past, or its middle outside its own interval.
TEST(Properties, a_forecast_lies_ahead_and_within_its_interval) {
  EXPECT_TRUE(rc::check([] {
    WearHistory history;
    const double rate = any(-0.01, 0.05);
    const double power = any(0, 4);
    const double onset = any(0, 20);
    const double days = any(2, 60);
    for (int i = 0; i < days * 6; ++i) {
      const double x = std::max(0.0, i / 6.0 - onset);
      remember(history, turn(static_cast<std::size_t>(i) * 4), rate * std::pow(x, power) * std::pow(30.0, 1 - power) + any(-0.02, 0.02), any(-0.02, 0.02));
    }
    const double share = any(0, 1);
    const WearScale scale{.laws = {0, share, 1 - share}, .plateau_share = any(0.05, 0.95), .plateau_level = any(0.05, 0.95), .limit_shift = any(0, 1),
                          .limit_deviation = any(0, 0.1), .lasting_deviation = any(0.003, 0.05), .wander = 0.006, .less_others = any(0, 1)};
    const Time now = turn(static_cast<std::size_t>(days * 24));
    const Forecast f = forecast(history, scale, now);
    if (!f.limit_at) return;
    RC_ASSERT(f.limit_at_earliest && f.limit_at_latest);
    RC_ASSERT(*f.limit_at_earliest >= now - std::chrono::milliseconds{1});
    RC_ASSERT(*f.limit_at_earliest <= *f.limit_at);
    RC_ASSERT(*f.limit_at <= *f.limit_at_latest);
  }));
}

// If this fails some evidence makes weights that are no probabilities, or a clause that speaks by infinity.
TEST(Properties, whatever_is_seen_the_weights_are_probabilities) {
  EXPECT_TRUE(rc::check([] {
    Evidence evidence;
    for (auto& sight : evidence) {
      if (*rc::gen::inRange(0, 3) == 0) continue;
      const double up = any(0, 1);
      sight = Sight{any(0, 1 - up), up};
    }
    const auto causes = diagnose(evidence);
    RC_ASSERT(!causes.empty());
    double sum = 0;
    for (std::size_t i = 0; i < causes.size(); ++i) {
      sum += causes[i].weight;
      if (i > 0) RC_ASSERT(causes[i - 1].weight >= causes[i].weight);
    }
    RC_ASSERT(std::abs(sum - 1) < 1e-9);
    for (std::size_t s = 0; s < symptom_count; ++s)
      RC_ASSERT(std::isfinite(speaks_for(evidence, static_cast<Symptom>(s), causes[0].cause, causes)));
  }));
}

}  // namespace
}  // namespace driftline::rules
