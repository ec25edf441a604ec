#include "rules/conditions/quiet.h"

#include <algorithm>
#include <chrono>

namespace driftline {
namespace {

constexpr std::int64_t day_s = 86'400;
constexpr std::int64_t week_s = 7 * day_s;
constexpr std::int64_t monday_s = 4 * day_s;  // 1970-01-05 was the first Monday

std::int64_t into(std::int64_t since_1970_s, std::int64_t first_s, std::int64_t length_s) {
  const std::int64_t rest = (since_1970_s - first_s) % length_s;
  return rest < 0 ? rest + length_s : rest;
}

// Seconds since 1970 at which the period that `at` lies in ends.
std::optional<std::int64_t> end_of(const QuietPeriod& period, std::int64_t at) {
  if (period.every == QuietPeriod::Every::once) return at >= period.from_s && at < period.to_s ? std::optional(period.to_s) : std::nullopt;
  const std::int64_t length = period.every == QuietPeriod::Every::day ? day_s : week_s;
  const std::int64_t long_s = into(period.to_s, period.from_s, length);
  const std::int64_t since = into(at - (period.every == QuietPeriod::Every::day ? 0 : monday_s), period.from_s, length);
  return since < long_s ? std::optional(at - since + long_s) : std::nullopt;
}

}  // namespace

std::optional<Time> quiet_until(const QuietPeriods& periods, Time time) {
  const std::int64_t begin = std::chrono::floor<std::chrono::seconds>(time.time_since_epoch()).count();
  std::int64_t at = begin;
  for (bool longer = true; longer && at < begin + week_s;) {
    longer = false;
    for (const QuietPeriod& period : periods)
      if (const auto end = end_of(period, at)) {
        at = std::max(at, *end);
        longer = true;
      }
  }
  if (at == begin) return std::nullopt;
  return time_from_ms(at * 1000);
}

}  // namespace driftline
