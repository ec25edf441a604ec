// What may lie behind a condition: the causes with probabilities, from listed evidence.
//
// Each symptom is seen as down, none or up, softly: a shift s with standard error e and "matters from" m counts as up with
// probability Phi((s - m)/e), down with Phi((-s - m)/e), none with the rest. Each cause has, for each symptom, a probability of
// seeing it down, none or up (the table in diagnosis.cpp; from how the machine works, not fitted to any recording). Then
//   weight(cause) ~ prior(cause) * product over known symptoms of ( sum over the three of P(seen) * P(seen | cause) )^t
// Naive Bayes with soft findings. Symptoms of one turn are not independent (a longer plateau is also a longer time): the
// power t < 1 keeps the weights from overstating what they know. Symptoms that are not known say nothing.
// Source of the method: e.g. Pearl, Probabilistic Reasoning in Intelligent Systems (1988), virtual evidence, from memory.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "rules/records/finding.h"

namespace driftline::rules {

enum class Symptom : std::uint8_t {
  time_to_pressure,
  vent,
  residual,
  peak,
  plateau_length,
  plateau_level,
  steepness,
  soft_start,      // more than its share of the shift of time lies before the rise
  run_on,          // more than its share of the shift of time lies just under the target
  others_rise,     // the resting lines' pressure during the turn
  all_lines,       // from here on yes (up) or no (none)
  sudden,
  not_reached,
  far_below,       // the peak stayed far below the target
  after_low,       // the reservoir was low, or was refilled, shortly before
  after_repair,
  cold,            // colder than the line's habit
  weather_says_so, // the baseline at this temperature expects it
  below_zero,      // the resting pressure reads under zero
  one_turn,        // only this turn, the ones before were in order
  working_hours,
  settings_changed,
  healing,         // going back on its own
  level_use,       // what a turn takes from the reservoir
};
inline constexpr std::size_t symptom_count = 24;

// Probabilities of down, none, up; empty when not known.
struct Sight {
  double down = 0;
  double up = 0;
  bool operator==(const Sight&) const = default;
};
using Evidence = std::array<std::optional<Sight>, symptom_count>;

[[nodiscard]] Sight sight_of(double shift, double error, double matters_from);
inline void note(Evidence& evidence, Symptom symptom, Sight sight) { evidence[static_cast<std::size_t>(symptom)] = sight; }
inline void note(Evidence& evidence, Symptom symptom, bool yes) { note(evidence, symptom, Sight{0, yes ? 1.0 : 0.0}); }
inline void note_probability(Evidence& evidence, Symptom symptom, double yes) { note(evidence, symptom, Sight{0, yes}); }

// Most likely first, those under 3 % left out, weights sum to 1.
[[nodiscard]] std::vector<WeightedCause> diagnose(const Evidence& evidence);

// How much one symptom, as it is seen, speaks for a cause against the others: the logarithm of P(seen | cause) over its mean
// over the other causes by their weights. 0 where the symptom is not known.
[[nodiscard]] double speaks_for(const Evidence& evidence, Symptom symptom, Cause cause, const std::vector<WeightedCause>& causes);

// Sorted by weight and scaled to 1; ties in the order of the vocabulary.
[[nodiscard]] std::vector<WeightedCause> ranked(std::vector<WeightedCause> causes);

}  // namespace driftline::rules
