// Who is meant.
#pragma once

#include <compare>
#include <string>

namespace driftline {

// A station of a site. Both parts are 1-64 characters of A-Z a-z 0-9 . _ - once decoded from a topic.
struct StationId {
  std::string site;
  std::string station;
  auto operator<=>(const StationId&) const = default;
};

inline constexpr int lines_max = 8;  // the telemetry contract's bound on feed lines of one station

}  // namespace driftline
