// What the program says of itself: one call logs and counts. Each room lists its events in its own events.h,
// as functions over these; nobody else calls the logger. Never used inside rules/ or gateway/cycles/.
//
// Repetition is folded by (event, subject): the first is logged at once, then a total when the interval ends,
// so that a burst is one line and the last of it is summed up too. Any thread.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace driftline::events {

enum class Level : std::uint8_t {
  error,  // a person must act
  warn,   // something was lost or withheld
  info,   // a change of state
  debug,  // the rest
};

// `event` is a fixed kebab-case word ("writer-down"); `subject` says of what ("northyard/ps-01", a topic, a
// file; may be empty). `text` is for people: control characters are escaped and it is cut at text_bytes_max.
void say(Level level, std::string_view event, std::string_view subject, std::string_view text);

// For a change of state ("broker-connected"): as `say`, but the first changes_unfolded of an interval are said at once, so that
// the end of a short trouble is not told a minute late.
void say_change(Level level, std::string_view event, std::string_view subject, std::string_view text);

// Counts without a line.
void count(std::string_view event, std::string_view subject, std::uint64_t n = 1);

struct Count {
  std::string event;
  std::string subject;
  std::uint64_t total = 0;
};
[[nodiscard]] std::vector<Count> counts();  // sorted by event, then subject

// Summaries of folded repetition that are due. The program calls it about once a second, and once with `all`
// at its end.
void flush(bool all = false);

inline constexpr std::size_t text_bytes_max = 500;

}  // namespace driftline::events
