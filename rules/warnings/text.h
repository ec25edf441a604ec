// What a technician reads. One catalogue: every sentence of a warning stands in text.cpp.
//
// Shape: first line, the subject, at most 60 characters: urgency, station, line, condition. Then: what changed; how long
// there is; likeliest cause and first check; what to bring; the caution. Short sentences, plain words. Times are UTC.
#pragma once

#include <string>
#include <string_view>

#include "rules/records/finding.h"
#include "rules/records/identity.h"
#include "rules/records/warning.h"

namespace driftline::rules {

inline constexpr std::size_t subject_length_max = 60;

[[nodiscard]] std::string subject_of(const StationId& station, const Finding& finding, Change change);

// `alike`: other stations of the site with the same condition just now.
[[nodiscard]] std::string text_of(const StationId& station, const Finding& finding, Change change, int alike);

// The words of the catalogue, for those who show them apart.
[[nodiscard]] std::string_view words_of(Condition condition);      // "slow to pressure"
[[nodiscard]] std::string_view words_of(Cause cause);              // "slow leak"
[[nodiscard]] std::string_view first_check_of(Cause cause);
[[nodiscard]] std::string_view what_to_bring_for(Cause cause);
[[nodiscard]] std::string_view caution_of(Condition condition);
struct FigureWords {
  std::string_view words;  // "Time to pressure"; empty for a figure that no warning tells of
  std::string_view unit;   // "s"; may be empty
};
[[nodiscard]] FigureWords words_of_figure(std::string_view figure);

}  // namespace driftline::rules
