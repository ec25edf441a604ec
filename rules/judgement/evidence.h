// What is seen of a line, put as evidence for the diagnosis.
#pragma once

#include "rules/diagnosis/diagnosis.h"
#include "rules/judgement/line_conditions.h"

namespace driftline::rules {

// Share of the pump limit from which a time to pressure is close to failing, whatever the baseline says.
inline constexpr double near_limit = 0.87;
inline constexpr double clear_of_limit = 0.82;

// `of` is what is being explained: that its own figure has moved is then no question.
[[nodiscard]] Evidence evidence_of(const StationState& state, const LineState& line, const Turn& turn, Condition of);

// What of it speaks for the first of the causes, in words: the condition's own figure, then what tells most, at most
// evidence_max.
[[nodiscard]] std::vector<EvidenceItem> told_evidence(const Evidence& evidence, const std::vector<WeightedCause>& causes,
                                                      const LineState& line, const Turn& turn, Condition of);

// How alike the shifts of all lines are: probability that the others moved by the same factor. Empty with one line, or while
// the others are not known.
[[nodiscard]] std::optional<double> alike_probability(const StationState& state, const LineState& line);

}  // namespace driftline::rules
