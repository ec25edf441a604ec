// Time as text: RFC 3339 in and out (sections 5.6 to 5.8). Checked in tests/unit/records/time_text_test.cpp.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rules/records/time.h"

namespace driftline {

// "2026-03-01T06:00:00.310Z": UTC, always three decimals. Years outside 0000..9999 cannot be written and are a
// programmer's mistake.
[[nodiscard]] std::string rfc3339(Time time);

// "2026-03-01".
[[nodiscard]] std::string rfc3339_date(Time time);

// Any RFC 3339 date-time: offset mandatory, lower-case t and z accepted, any number of decimals (rounded down to the
// millisecond), second 60 read as the first instant of the next minute. Empty when the text is anything else.
[[nodiscard]] std::optional<Time> parse_rfc3339(std::string_view text);

}  // namespace driftline
