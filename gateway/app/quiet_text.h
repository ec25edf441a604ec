// Quiet periods as a configuration writes them, in UTC:
//   "2026-12-24/2027-01-02"            days, the last one not in it; an interval of ISO 8601
//   "2026-12-24T06:00Z/2026-12-24T14:00Z"  moments; seconds and offsets as in RFC 3339
//   "22:00/05:30"                      every day
//   "Sat 14:00/Mon 05:00"              every week
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rules/conditions/quiet.h"

namespace driftline {

inline constexpr auto quiet_forms = "\"2026-12-24/2027-01-02\", \"22:00/05:30\" or \"Sat 14:00/Mon 05:00\", in UTC, the end not in it";

// Empty where it is none of these, names a day that no calendar has, or does not end after its beginning.
[[nodiscard]] std::optional<QuietPeriod> quiet_period_of(std::string_view text);

// In the shortest of these forms.
[[nodiscard]] std::string text_of(const QuietPeriod& period);

}  // namespace driftline
