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

}  // namespace driftline::rules
