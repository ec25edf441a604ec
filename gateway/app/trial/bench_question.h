// What the Trial bench is asked.
//   {"condition":"slow-to-pressure","candidates":[{"name":"first","thresholds":{...}}],"vary":"slow-to-pressure/smallest_shift_pct=1..8","brief":true}
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/trial/candidates.h"

namespace driftline::trial {

inline constexpr std::size_t bench_candidates_max = 4;

struct Question {
  Condition condition = Condition::slow_to_pressure;
  std::vector<Candidate> candidates;
  std::optional<Range> range;
  bool brief = false;  // without turns and troubles: for a table of many stations
};

// An error is words for a person.
[[nodiscard]] tl::expected<Question, std::string> read_question(std::string_view text, const Contexts& in_force);

}  // namespace driftline::trial
