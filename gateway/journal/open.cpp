// The start of a journal: what the life before has left.
#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <filesystem>

#include "gateway/journal/events.h"
#include "gateway/journal/journal.h"
#include "gateway/journal/segment_reader.h"

namespace driftline::journal {
namespace {

constexpr std::string_view segment_ending = ".journal";

std::optional<Position> position_in_name(const std::string& name) {
  if (name.size() != 20 + segment_ending.size() || !name.ends_with(segment_ending)) return std::nullopt;
  Position first = 0;
  const auto [end, error] = std::from_chars(name.data(), name.data() + 20, first);
  if (error != std::errc{} || end != name.data() + 20) return std::nullopt;
  return first;
}

struct Scan {
  Position next = 0;  // 0: no record
  Time last_received{};
  std::uint64_t end = 0;
  bool failed = false;
};

Scan scan(SegmentReader& reader, std::uint64_t bytes) {
  Scan found;
  RecordView record;
  for (;;) {
    const auto step = reader.next(bytes, true, record);
    if (step == SegmentReader::Step::record) {
      found.next = std::max(found.next, record.position + 1);
      found.last_received = std::max(found.last_received, record.received);
      continue;
    }
    found.failed = step == SegmentReader::Step::failed;
    found.end = reader.valid_end();
    return found;
  }
}

}  // namespace

tl::expected<std::unique_ptr<Journal>, std::string> Journal::open(const JournalSettings& settings, FileLayer& files) {
  if (settings.segment_bytes < segment_bytes_min)
    return tl::unexpected("a journal segment of " + std::to_string(settings.segment_bytes) + " bytes is too small");
  std::error_code error;
  std::filesystem::create_directories(settings.directory, error);
  if (error) return tl::unexpected("the journal's folder " + settings.directory + " cannot be made: " + error.message());
  std::unique_ptr<Journal> journal(new Journal(settings, files));
  std::string wrong = journal->take_lock();
  if (wrong.empty()) wrong = journal->load_segments();
  if (wrong.empty()) wrong = journal->begin_life();
  if (!wrong.empty()) return tl::unexpected(wrong);
  journal->syncer_ = std::thread([raw = journal.get()] { raw->sync_loop(); });
  return journal;
}

std::string Journal::take_lock() {
  const std::string path = settings_.directory + "/lock";
  lock_ = ::open(path.c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0640);
  if (lock_ < 0) return path + " cannot be opened: " + std::strerror(errno);
  if (::flock(lock_, LOCK_EX | LOCK_NB) != 0)
    return "the journal in " + settings_.directory + " is in use by another process";
  return "";
}

std::string Journal::load_segments() {
  std::error_code error;
  for (std::filesystem::directory_iterator entry(settings_.directory, error), end; !error && entry != end;
       entry.increment(error)) {
    const auto first = position_in_name(entry->path().filename().string());
    if (!first) continue;
    const SegmentReader reader(files_, entry->path().string());
    if (!reader.opened()) return entry->path().string() + " cannot be read: " + std::strerror(errno);
    Segment segment;
    segment.serial = ++serials_;
    segment.head = reader.head().value_or(SegmentHead{*first, *first, Time{}});
    segment.head.first = *first;  // the name decides: it is what orders the files
    segment.bytes = segment.synced_bytes = std::filesystem::file_size(entry->path(), error);
    segment.sealed = true;
    segments_.emplace(*first, segment);
  }
  if (error) return "the journal's folder " + settings_.directory + " cannot be read: " + error.message();
  files_.remove(settings_.directory + "/carry.tmp");
  for (auto at = segments_.begin(); at != segments_.end(); ++at) {
    const auto behind = std::next(at);
    if (behind == segments_.end()) break;
    at->second.next = at->second.synced_next = behind->second.head.follows;
    at->second.last_received = behind->second.head.floor;
  }
  return "";
}

// Cuts the torn end of the newest segment that holds a record, and removes empty ones behind it.
std::string Journal::cut_torn_end(Position& next) {
  while (!segments_.empty()) {
    const auto newest = std::prev(segments_.end());
    Segment& segment = newest->second;
    const std::string path = path_of(newest->first);
    SegmentReader reader(files_, path);
    const Scan found = reader.opened() ? scan(reader, segment.bytes) : Scan{.failed = true};
    if (found.failed) return path + " cannot be read: " + std::strerror(errno);
    if (const std::uint64_t torn = segment.bytes - found.end; torn > 0) {
      torn_bytes_ += torn;
      events::torn_end_cut(path, torn);
    }
    next = std::max({next, newest->first, found.next});
    if (found.next == 0) {
      if (files_.remove(path) != 0) return path + " cannot be removed: " + std::strerror(errno);
      last_received_ = std::max(last_received_, segment.head.floor);
      segments_.erase(newest);
      continue;
    }
    if (found.end != segment.bytes) {
      const int file = files_.open_update(path);
      if (file < 0 || files_.truncate(file, found.end) != 0) {
        const std::string why = std::strerror(errno);
        if (file >= 0) files_.close(file);
        return path + " cannot be cut: " + why;
      }
      files_.close(file);
    }
    segment.bytes = segment.synced_bytes = found.end;
    segment.next = segment.synced_next = found.next;
    segment.last_received = found.last_received;
    last_received_ = std::max({last_received_, found.last_received, segment.head.floor});
    return "";
  }
  return "";
}

// A killed process may have left bytes that only the kernel knows of.
std::string Journal::sync_left_behind() {
  for (const auto& [first, segment] : segments_) {
    const int file = files_.open_update(path_of(first));
    const bool synced = file >= 0 && files_.sync(file) == 0;
    const std::string why = synced ? "" : std::strerror(errno);
    if (file >= 0) files_.close(file);
    if (!synced) return path_of(first) + " cannot be brought to the disk: " + why;
  }
  return "";
}

std::string Journal::begin_life() {
  Position next = 1;
  if (std::string wrong = cut_torn_end(next); !wrong.empty()) return wrong;
  if (std::string wrong = sync_left_behind(); !wrong.empty()) return wrong;
  for (const auto& [first, segment] : segments_) held_bytes_ += segment.bytes;
  const Position first = std::max(next, settings_.not_below);
  const Position follows = segments_.empty() ? first : newest_locked().next;
  if (const int reason = begin_segment_locked(first, follows); reason != 0)
    return "a journal file cannot be made in " + settings_.directory + ": " + std::strerror(reason);
  if (files_.sync(newest_locked().file) != 0 || files_.sync_directory(settings_.directory) != 0)
    return "the journal's folder " + settings_.directory + " cannot be brought to the disk: " + std::strerror(errno);
  directory_dirty_ = false;
  newest_locked().synced_bytes = newest_locked().bytes;
  return "";
}

}  // namespace driftline::journal
