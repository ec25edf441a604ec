// Candidate thresholds: a file of thresholds, or one threshold moved over a range. Both lie over what is in force, by JSON
// Merge Patch (RFC 7396).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/config.h"
#include "gateway/app/trial/trial.h"

namespace driftline::trial {

// A file as rules.json is one. What is wrong with it goes into `problems`; it is named as the file, without its ending.
[[nodiscard]] std::optional<Candidate> candidate_of_file(const std::string& path, const Contexts& in_force,
                                                         std::vector<ConfigProblem>& problems);
// The same from the text of a patch.
[[nodiscard]] std::optional<Candidate> candidate_of_text(std::string_view patch, const std::string& name, const Contexts& in_force,
                                                         std::vector<ConfigProblem>& problems);

// "slow-to-pressure/smallest_shift_pct=1..8", "plan_days=7..28:4": a condition's threshold or one of the station, its range, and
// how many values (9 unless said). Values stand at even ratios where the range spans more than a factor of four, else evenly.
struct Range {
  std::string name;  // "conditions/slow-to-pressure/smallest_shift_pct", as `check --explain` says it
  std::vector<double> values;
};
[[nodiscard]] tl::expected<Range, std::string> range_of(std::string_view text);
[[nodiscard]] std::vector<Candidate> candidates_of(const Range& range, const Contexts& in_force, std::vector<ConfigProblem>& problems);

// {"conditions":{"slow-vent":{"smallest_shift_pct":10}}}
[[nodiscard]] std::string patch_text(const std::string& name, double value);

}  // namespace driftline::trial
