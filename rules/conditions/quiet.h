// Quiet periods: stretches in which a condition raises nothing new, because people know why it would: a planned stop, a weekend
// without production, the nightly wash-down. What was open before goes on and may become more urgent; what still holds when the
// period ends is raised then. All in UTC. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "rules/records/time.h"

namespace driftline {

struct QuietPeriod {
  enum class Every : std::uint8_t { once, day, week };
  Every every = Every::once;
  // once: seconds since 1970; day: seconds since midnight; week: seconds since Monday 00:00. `to` is not in it. Of a day or a
  // week it may lie before `from`: over midnight, over Sunday.
  std::int64_t from_s = 0;
  std::int64_t to_s = 0;
  bool operator==(const QuietPeriod&) const = default;
};
using QuietPeriods = std::vector<QuietPeriod>;

// When the stretch that `time` lies in ends, periods that meet taken together; empty: it lies in none. What never ends (the
// whole week, period by period) is told as a week from `time`.
[[nodiscard]] std::optional<Time> quiet_until(const QuietPeriods& periods, Time time);

}  // namespace driftline
