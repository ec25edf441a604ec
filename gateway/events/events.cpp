#include "gateway/events/events.h"

#include <spdlog/spdlog.h>

#include <map>
#include <mutex>
#include <utility>

#include "gateway/events/limits.h"

namespace driftline::events {
namespace {

constexpr std::string_view subject_rest = "(rest)";

using Key = std::pair<std::string, std::string>;
struct Less {
  using is_transparent = void;
  template <class A, class B>
  bool operator()(const A& a, const B& b) const {
    const int order = std::string_view(a.first).compare(b.first);
    return order < 0 || (order == 0 && std::string_view(a.second) < std::string_view(b.second));
  }
};

struct Entry {
  std::uint64_t total = 0;
  std::uint64_t unsaid = 0;  // repetitions since the last line
  int flushes_left = 0;      // until their sum is said; 0: the next one is said at once
  int lines = 0;             // said since that count began
  Level level = Level::info;
  std::string text;  // the last one
};

struct Book {
  std::mutex mutex;
  std::map<Key, Entry, Less> entries;
};

Book& book() {
  static Book one;
  return one;
}

Entry& entry_of(Book& all, std::string_view event, std::string_view subject) {
  const auto found = all.entries.find(std::pair(event, subject));
  if (found != all.entries.end()) return found->second;
  if (all.entries.size() >= pairs_max && subject != subject_rest) return entry_of(all, event, subject_rest);
  return all.entries[Key(event, subject)];
}

std::string escaped(std::string_view text) {
  constexpr std::string_view digits = "0123456789abcdef";
  std::string out;
  for (const char c : text) {
    if (out.size() >= text_bytes_max) return out + "...";
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte != 0x7f) {
      out += c;
    } else {
      out += "\\x";
      out += digits[byte >> 4];
      out += digits[byte & 15];
    }
  }
  return out;
}

spdlog::level::level_enum level_of(Level level) {
  switch (level) {
    case Level::error:
      return spdlog::level::err;
    case Level::warn:
      return spdlog::level::warn;
    case Level::info:
      return spdlog::level::info;
    case Level::debug:
      return spdlog::level::debug;
  }
  return spdlog::level::info;
}

void write(Level level, std::string_view event, std::string_view subject, const std::string& text) {
  if (subject.empty())
    spdlog::log(level_of(level), "{}: {}", event, text);
  else
    spdlog::log(level_of(level), "{} [{}]: {}", event, escaped(subject), text);
}

void say_or_fold(Level level, std::string_view event, std::string_view subject, std::string_view text, int lines_at_once) {
  Book& all = book();
  const std::lock_guard guard(all.mutex);
  Entry& entry = entry_of(all, event, subject);
  ++entry.total;
  entry.level = level;
  if (entry.flushes_left == 0) entry.lines = 0;
  if (entry.lines >= lines_at_once) {
    ++entry.unsaid;
    entry.text = escaped(text);
    return;
  }
  if (entry.lines++ == 0) entry.flushes_left = fold_flushes;
  write(level, event, subject, escaped(text));
}

}  // namespace

void say(Level level, std::string_view event, std::string_view subject, std::string_view text) {
  say_or_fold(level, event, subject, text, 1);
}

void say_change(Level level, std::string_view event, std::string_view subject, std::string_view text) {
  say_or_fold(level, event, subject, text, changes_unfolded);
}

void count(std::string_view event, std::string_view subject, std::uint64_t n) {
  Book& all = book();
  const std::lock_guard guard(all.mutex);
  entry_of(all, event, subject).total += n;
}

std::vector<Count> counts() {
  Book& all = book();
  const std::lock_guard guard(all.mutex);
  std::vector<Count> list;
  list.reserve(all.entries.size());
  for (const auto& [key, entry] : all.entries) list.push_back({key.first, key.second, entry.total});
  return list;
}

void flush(bool all_of_them) {
  Book& all = book();
  const std::lock_guard guard(all.mutex);
  for (auto& [key, entry] : all.entries) {
    if (entry.flushes_left == 0) continue;
    if (!all_of_them && --entry.flushes_left > 0) continue;
    if (entry.unsaid > 0) {
      write(entry.level, key.first, key.second,
            "and " + std::to_string(entry.unsaid) + " more, the last: " + entry.text);
      entry.flushes_left =
          all_of_them ? 0 : fold_flushes;  // still going on: the next sum after another interval
    }
    entry.unsaid = 0;
  }
}

}  // namespace driftline::events
