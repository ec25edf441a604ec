#include "rules/diagnosis/diagnosis.h"

#include <gtest/gtest.h>

namespace driftline::rules {
namespace {

double weight_of(const std::vector<WeightedCause>& causes, Cause cause) {
  for (const WeightedCause& c : causes)
    if (c.cause == cause) return c.weight;
  return 0;
}

Evidence slower() {
  Evidence e;
  note(e, Symptom::time_to_pressure, sight_of(0.1, 0.01, 0.02));
  note(e, Symptom::not_reached, false);
  return e;
}

// If this fails the weights are no probabilities.
TEST(Diagnosis, weights_sum_to_one_most_likely_first) {
  const auto causes = diagnose(slower());
  double sum = 0;
  for (std::size_t i = 0; i < causes.size(); ++i) {
    sum += causes[i].weight;
    if (i > 0) { EXPECT_GE(causes[i - 1].weight, causes[i].weight); }
  }
  EXPECT_NEAR(sum, 1, 1e-9);
}

// If this fails a worn pump is looked for in the hoses. Common practice, no source (as all of this table).
TEST(Diagnosis, all_lines_by_one_factor_points_at_the_pump_and_one_line_at_that_line) {
  Evidence all = slower();
  note(all, Symptom::all_lines, true);
  note(all, Symptom::vent, Sight{0.02, 0.02});
  note(all, Symptom::others_rise, Sight{0.01, 0.01});
  EXPECT_EQ(diagnose(all)[0].cause, Cause::pump_worn);
  Evidence one = slower();
  note(one, Symptom::all_lines, false);
  note(one, Symptom::vent, Sight{0.5, 0.02});
  EXPECT_EQ(diagnose(one)[0].cause, Cause::slow_leak);
}

// If this fails a station with a single line is sent a pump where its hose leaks: only the reservoir tells them apart.
TEST(Diagnosis, what_turns_take_from_the_reservoir_tells_a_leak_from_a_worn_pump) {
  Evidence e = slower();
  note(e, Symptom::others_rise, Sight{0.01, 0.01});
  note(e, Symptom::level_use, Sight{0, 0.97});
  EXPECT_EQ(diagnose(e)[0].cause, Cause::slow_leak);
  EXPECT_LT(weight_of(diagnose(e), Cause::pump_worn), 0.2);
  note(e, Symptom::level_use, Sight{0.01, 0.01});
  EXPECT_GT(weight_of(diagnose(e), Cause::pump_worn), 2 * weight_of(diagnose(e), Cause::slow_leak));
}

// If this fails a leaking changeover valve is not told from a worn pump.
TEST(Diagnosis, a_resting_line_that_rises_points_at_the_changeover) {
  Evidence e = slower();
  note(e, Symptom::all_lines, true);
  note(e, Symptom::others_rise, Sight{0, 0.98});
  EXPECT_EQ(diagnose(e)[0].cause, Cause::changeover_leaking);
}

// If this fails a broken hose is put down to anything else.
TEST(Diagnosis, a_target_missed_at_once_with_the_peak_far_below_is_a_broken_line) {
  Evidence e;
  note(e, Symptom::not_reached, true);
  note(e, Symptom::far_below, true);
  note(e, Symptom::sudden, true);
  note(e, Symptom::all_lines, false);
  const auto causes = diagnose(e);
  EXPECT_EQ(causes[0].cause, Cause::line_broken);
  EXPECT_GT(weight_of(causes, Cause::line_broken), 0.6);
}

// If this fails evidence that is not known counts as evidence.
TEST(Diagnosis, without_evidence_the_weights_are_the_priors) {
  const auto causes = diagnose(Evidence{});
  EXPECT_EQ(causes[0].cause, Cause::slow_leak);
  EXPECT_NEAR(causes[0].weight / weight_of(causes, Cause::pump_worn), 0.20 / 0.12, 1e-9);
}

}  // namespace
}  // namespace driftline::rules
