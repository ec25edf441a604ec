// Event time: milliseconds since 1970-01-01T00:00:00Z, without leap seconds. Nothing here reads a clock.
#pragma once

#include <chrono>
#include <cmath>
#include <cstdint>

namespace driftline {

using Time = std::chrono::sys_time<std::chrono::milliseconds>;

[[nodiscard]] inline constexpr Time time_from_ms(std::int64_t since_1970_ms) {
  return Time{std::chrono::milliseconds{since_1970_ms}};
}

[[nodiscard]] inline constexpr std::int64_t ms_since_1970(Time time) { return time.time_since_epoch().count(); }

// Signed: negative when `to` is earlier than `from`.
[[nodiscard]] inline constexpr double seconds_between(Time from, Time to) {
  return static_cast<double>((to - from).count()) / 1000.0;
}

[[nodiscard]] inline constexpr double days_between(Time from, Time to) { return seconds_between(from, to) / 86400.0; }

// Rounded to the nearest millisecond.
[[nodiscard]] inline Time later_by_s(Time time, double seconds) {
  return time + std::chrono::milliseconds{std::llround(seconds * 1000.0)};
}

[[nodiscard]] inline Time later_by_days(Time time, double days) { return later_by_s(time, days * 86400.0); }

}  // namespace driftline
