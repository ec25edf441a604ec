#include "rules/records/time_text.h"

#include <array>
#include <cstdio>

namespace driftline {
namespace {

// Reads exactly `digits` decimal digits at `at` and moves past them.
std::optional<int> take_number(std::string_view text, std::size_t& at, int digits) {
  int value = 0;
  for (int i = 0; i < digits; ++i, ++at) {
    if (at >= text.size() || text[at] < '0' || text[at] > '9') return std::nullopt;
    value = value * 10 + (text[at] - '0');
  }
  return value;
}

bool take_char(std::string_view text, std::size_t& at, char upper, char lower) {
  if (at >= text.size() || (text[at] != upper && text[at] != lower)) return false;
  ++at;
  return true;
}

// Decimals after the second, rounded down to milliseconds; empty when a point has no digit after it.
std::optional<int> take_fraction_ms(std::string_view text, std::size_t& at) {
  if (at >= text.size() || text[at] != '.') return 0;
  ++at;
  const std::size_t first = at;
  int ms = 0;
  int weight = 100;
  for (; at < text.size() && text[at] >= '0' && text[at] <= '9'; ++at) {
    ms += (text[at] - '0') * weight;
    weight /= 10;
  }
  if (at == first) return std::nullopt;
  return ms;
}

// Minutes east of UTC.
std::optional<int> take_offset_min(std::string_view text, std::size_t& at) {
  if (take_char(text, at, 'Z', 'z')) return 0;
  if (at >= text.size() || (text[at] != '+' && text[at] != '-')) return std::nullopt;
  const int sign = text[at++] == '+' ? 1 : -1;
  const auto hours = take_number(text, at, 2);
  if (!hours || *hours > 23 || !take_char(text, at, ':', ':')) return std::nullopt;
  const auto minutes = take_number(text, at, 2);
  if (!minutes || *minutes > 59) return std::nullopt;
  return sign * (*hours * 60 + *minutes);
}

}  // namespace

std::string rfc3339(Time time) {
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day date{day};
  const std::chrono::hh_mm_ss clock{time - day};
  std::array<char, 40> text{};
  const int length = std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%03dZ",
                                   static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                                   static_cast<unsigned>(date.day()), static_cast<int>(clock.hours().count()),
                                   static_cast<int>(clock.minutes().count()),
                                   static_cast<int>(clock.seconds().count()),
                                   static_cast<int>(clock.subseconds().count()));
  return {text.data(), static_cast<std::size_t>(length)};
}

std::string rfc3339_date(Time time) { return rfc3339(time).substr(0, 10); }

std::optional<Time> parse_rfc3339(std::string_view text) {
  std::size_t at = 0;
  const auto year = take_number(text, at, 4);
  if (!year || !take_char(text, at, '-', '-')) return std::nullopt;
  const auto month = take_number(text, at, 2);
  if (!month || !take_char(text, at, '-', '-')) return std::nullopt;
  const auto day = take_number(text, at, 2);
  if (!day || !take_char(text, at, 'T', 't')) return std::nullopt;
  const auto hour = take_number(text, at, 2);
  if (!hour || *hour > 23 || !take_char(text, at, ':', ':')) return std::nullopt;
  const auto minute = take_number(text, at, 2);
  if (!minute || *minute > 59 || !take_char(text, at, ':', ':')) return std::nullopt;
  const auto second = take_number(text, at, 2);
  if (!second || *second > 60) return std::nullopt;
  const auto fraction_ms = take_fraction_ms(text, at);
  if (!fraction_ms) return std::nullopt;
  const auto offset_min = take_offset_min(text, at);
  if (!offset_min || at != text.size()) return std::nullopt;

  const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)},
                                         std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok()) return std::nullopt;
  // A leap second falls only at 23:59:60 UTC (RFC 3339, section 5.7).
  const int utc_minute_of_day = ((*hour * 60 + *minute - *offset_min) % 1440 + 1440) % 1440;
  if (*second == 60 && utc_minute_of_day != 1439) return std::nullopt;

  return Time{std::chrono::sys_days{date}} + std::chrono::hours{*hour} + std::chrono::minutes{*minute - *offset_min} +
         std::chrono::seconds{*second} + std::chrono::milliseconds{*second == 60 ? 0 : *fraction_ms};
}

}  // namespace driftline
