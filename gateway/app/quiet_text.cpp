#include "gateway/app/quiet_text.h"

#include <algorithm>
#include <array>
#include <cstdio>

#include "rules/records/time_text.h"

namespace driftline {
namespace {

constexpr std::int64_t day_s = 86'400;
constexpr std::array<std::string_view, 7> week_days{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// "05:30" as seconds since midnight.
std::optional<std::int64_t> clock_of(std::string_view text) {
  if (text.size() != 5 || text[2] != ':' || !is_digit(text[0]) || !is_digit(text[1]) || !is_digit(text[3]) || !is_digit(text[4])) return std::nullopt;
  const int hour = (text[0] - '0') * 10 + text[1] - '0';
  const int minute = (text[3] - '0') * 10 + text[4] - '0';
  if (hour > 23 || minute > 59) return std::nullopt;
  return hour * 3600 + minute * 60;
}

// "Sat 14:00" as seconds since Monday 00:00.
std::optional<std::int64_t> week_clock_of(std::string_view text) {
  if (text.size() != 9 || text[3] != ' ') return std::nullopt;
  const auto day = std::find(week_days.begin(), week_days.end(), text.substr(0, 3));
  const auto clock = clock_of(text.substr(4));
  if (day == week_days.end() || !clock) return std::nullopt;
  return (day - week_days.begin()) * day_s + *clock;
}

// A date, or a moment with or without seconds, as seconds since 1970.
std::optional<std::int64_t> moment_of(std::string_view text) {
  std::string whole(text);
  if (whole.size() == 10) whole += "T00:00:00Z";
  if (whole.size() > 16 && whole[10] == 'T' && whole[13] == ':' && whole[16] != ':') whole.insert(16, ":00");
  const auto time = parse_rfc3339(whole);
  return time ? std::optional(ms_since_1970(*time) / 1000) : std::nullopt;
}

std::string clock_text(std::int64_t s) {
  char text[8];
  std::snprintf(text, sizeof text, "%02d:%02d", static_cast<int>(s / 3600 % 24), static_cast<int>(s / 60 % 60));
  return text;
}

std::string moment_text(std::int64_t s) {
  const std::string whole = rfc3339(time_from_ms(s * 1000));
  if (s % day_s == 0) return whole.substr(0, 10);
  return s % 60 == 0 ? whole.substr(0, 16) + "Z" : whole.substr(0, 19) + "Z";
}

}  // namespace

std::optional<QuietPeriod> quiet_period_of(std::string_view text) {
  const std::size_t slash = text.find('/');
  if (slash == std::string_view::npos) return std::nullopt;
  const auto read = [&](QuietPeriod::Every every, auto one) -> std::optional<QuietPeriod> {
    const auto from = one(text.substr(0, slash));
    const auto to = one(text.substr(slash + 1));
    if (!from || !to || *from == *to || (every == QuietPeriod::Every::once && *from > *to)) return std::nullopt;
    return QuietPeriod{every, *from, *to};
  };
  if (const auto period = read(QuietPeriod::Every::day, clock_of)) return period;
  if (const auto period = read(QuietPeriod::Every::week, week_clock_of)) return period;
  return read(QuietPeriod::Every::once, moment_of);
}

std::string text_of(const QuietPeriod& period) {
  const auto both = [&](auto one) { return one(period.from_s) + "/" + one(period.to_s); };
  switch (period.every) {
    case QuietPeriod::Every::day: return both(clock_text);
    case QuietPeriod::Every::week:
      return both([](std::int64_t s) { return std::string(week_days[static_cast<std::size_t>(s / day_s % 7)]) + " " + clock_text(s); });
    case QuietPeriod::Every::once: return both(moment_text);
  }
  return "";
}

}  // namespace driftline
