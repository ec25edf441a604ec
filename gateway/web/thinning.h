// Fewer points for a picture of a series, without losing a peak. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

namespace driftline::web {

struct ThinPoint {
  std::int64_t at_ms = 0;       // does not fall
  std::optional<double> value;
  bool keep = false;            // whatever happens
};

// Indices of what stays, rising: of each of points/4 equal stretches of time the first, the lowest, the highest and the last, and
// what is to be kept; where a stretch has unknown values, one of them, so that the gap stays. All of them if they are few enough.
[[nodiscard]] std::vector<std::size_t> thin(const std::vector<ThinPoint>& all, std::size_t points);

}  // namespace driftline::web
