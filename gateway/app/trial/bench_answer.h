// The Trial bench's answer as JSON.
#pragma once

#include <string>

#include "gateway/app/trial/bench_question.h"
#include "gateway/app/trial/bench_station.h"

namespace driftline::trial {

inline constexpr std::size_t bench_points_max = 1'500;  // of a line's figure: more than a screen has columns

// `results`: of each of the question's candidates.
[[nodiscard]] std::string bench_answer(const BenchStation& station, const Question& question, const std::vector<CandidateResult>& results);

}  // namespace driftline::trial
