#include "gateway/journal/journal.h"

#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include "gateway/journal/events.h"

namespace driftline::journal {
namespace {

AppendFailure failure_of(int reason) {
  return reason == ENOSPC || reason == EDQUOT || reason == EFBIG ? AppendFailure::disk_full : AppendFailure::io_failed;
}

// 0, or the errno of what stopped it.
int write_all(FileLayer& files, int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const long written = files.write(file, bytes);
    if (written < 0) return errno;
    if (written == 0) return EIO;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return 0;
}

}  // namespace

std::string_view name_of(AppendFailure failure) {
  switch (failure) {
    case AppendFailure::disk_full: return "disk-full";
    case AppendFailure::journal_full: return "journal-full";
    case AppendFailure::io_failed: return "io-failed";
    case AppendFailure::sync_failed: return "sync-failed";
    case AppendFailure::too_large: return "too-large";
  }
  return "";
}

Journal::Journal(const JournalSettings& settings, FileLayer& files) : settings_(settings), files_(files) {}

Journal::~Journal() {
  {
    const std::lock_guard guard(stop_mutex_);
    stopping_ = true;
  }
  stop_.notify_all();
  if (syncer_.joinable()) syncer_.join();
  sync();
  for (auto& [first, segment] : segments_)
    if (segment.file >= 0) files_.close(segment.file);
  for (const int file : retired_) files_.close(file);
  if (lock_ >= 0) ::close(lock_);
}

std::string Journal::path_of(Position first) const {
  char name[40];
  std::snprintf(name, sizeof name, "/%020llu.journal", static_cast<unsigned long long>(first));
  return settings_.directory + name;
}

tl::expected<Appended, AppendFailure> Journal::append(Time received, std::string_view topic,
                                                      std::string_view payload) noexcept {
  try {
    const std::lock_guard guard(mutex_);
    auto outcome = append_locked(received, topic, payload);
    if (!outcome) {
      refusing_ = outcome.error();
      events::append_refused(outcome.error(), sync_failing_ ? "a sync failed" : std::strerror(last_errno_));
    } else {
      if (refusing_) events::append_works_again(*refusing_);
      refusing_.reset();
      if (readers_waiting_ > 0) grown_.notify_all();
    }
    return outcome;
  } catch (...) {  // memory; the caller is a callback of C code
    return tl::unexpected(AppendFailure::io_failed);
  }
}

tl::expected<Appended, AppendFailure> Journal::append_locked(Time received, std::string_view topic,
                                                             std::string_view payload) {
  last_errno_ = 0;
  if (topic.size() > topic_bytes_max || payload.size() > payload_bytes_max)
    return tl::unexpected(AppendFailure::too_large);
  if (sync_failing_) return tl::unexpected(AppendFailure::sync_failed);
  const std::size_t bytes = record_bytes(topic.size(), payload.size());
  if (held_bytes_ + bytes > settings_.bytes_max) return tl::unexpected(AppendFailure::journal_full);

  Segment* segment = &newest_locked();
  const bool full = segment->bytes + bytes > settings_.segment_bytes && segment->next != segment->head.first;
  if (full || segment->sealed) {
    if (const int reason = begin_segment_locked(segment->next, segment->next); reason != 0) return refused(reason);
    segment = &newest_locked();
  }

  if (received < last_received_) {
    const std::int64_t behind_ms = (last_received_ - received).count();
    if (behind_ms >= clock_behind_ms_said) events::clock_behind(behind_ms);
    received = last_received_;
  }
  const Position position = segment->next;
  write_record({position, received, topic, payload}, buffer_);
  if (const int reason = write_all(files_, segment->file, buffer_); reason != 0) {
    undo_write_locked(*segment);
    return refused(reason);
  }
  if (settings_.sync_every.count() == 0 && !sync_newest_locked()) {
    undo_write_locked(*segment);
    return tl::unexpected(AppendFailure::sync_failed);
  }
  segment->bytes += bytes;
  segment->next = position + 1;
  segment->last_received = last_received_ = received;
  held_bytes_ += bytes;
  if (settings_.sync_every.count() == 0) {
    segment->synced_bytes = segment->bytes;
    segment->synced_next = segment->next;
  }
  return Appended{position, received};
}

tl::unexpected<AppendFailure> Journal::refused(int reason) {
  last_errno_ = reason;
  return tl::unexpected(failure_of(reason));
}

// What was written of a record is taken back, or else the segment takes no more: readers stop at `bytes`.
void Journal::undo_write_locked(Segment& segment) {
  if (files_.truncate(segment.file, segment.bytes) != 0) segment.sealed = true;
}

int Journal::begin_segment_locked(Position first, Position follows) {
  const std::string path = path_of(first);
  const int file = files_.create(path);
  if (file < 0) return errno;
  const SegmentHead head{first, follows, last_received_};
  if (const int reason = write_all(files_, file, write_head(head)); reason != 0) {
    files_.close(file);
    if (!segments_.contains(first)) files_.remove(path);
    return reason;
  }
  if (!segments_.empty()) newest_locked().sealed = true;
  if (const auto same = segments_.find(first); same != segments_.end()) {
    // An empty segment that could not be used any more: its name is taken over. A sync may be under way on its file.
    if (same->second.file >= 0) retired_.push_back(same->second.file);
    held_bytes_ -= same->second.bytes;
  }
  Segment segment;
  segment.serial = ++serials_;
  segment.head = head;
  segment.next = segment.synced_next = first;
  segment.last_received = last_received_;
  segment.bytes = segment_head_bytes;
  segment.file = file;
  segments_.insert_or_assign(first, segment);
  held_bytes_ += segment.bytes;
  directory_dirty_ = true;
  return 0;
}

void Journal::retain(Position needed_from, Time now) {
  std::vector<std::string> doomed;
  {
    const std::lock_guard guard(mutex_);
    while (segments_.size() > 1) {
      const Segment& oldest = segments_.begin()->second;
      const bool old = now - oldest.last_received > settings_.keep_for;
      if (oldest.next > needed_from || oldest.file >= 0) break;  // needed, or not yet synced
      if (!old && held_bytes_ <= settings_.keep_bytes) break;
      doomed.push_back(path_of(oldest.head.first));
      held_bytes_ -= oldest.bytes;
      segments_.erase(segments_.begin());
    }
  }
  for (const std::string& path : doomed) {
    if (files_.remove(path) == 0)
      events::segment_deleted();
    else
      events::delete_failed(path, std::strerror(errno));
  }
}

JournalStatus Journal::status() const {
  const std::lock_guard guard(mutex_);
  JournalStatus status;
  status.first = segments_.begin()->second.head.first;
  status.next = segments_.rbegin()->second.next;
  status.synced = status.next;
  for (const auto& [first, segment] : segments_) {
    if (segment.synced_next == segment.next) continue;
    status.synced = segment.synced_next;
    break;
  }
  status.bytes = held_bytes_;
  status.segments = segments_.size();
  status.torn_bytes = torn_bytes_;
  status.sync_failing = sync_failing_;
  return status;
}

Journal::Extent Journal::extent_of(const Segment& segment) const {
  return {segment.serial, path_of(segment.head.first), segment.head.first, segment.next, segment.bytes, segment.sealed};
}

std::optional<Journal::Extent> Journal::extent_locked(Position wanted) const {
  auto found = segments_.upper_bound(wanted);
  if (found != segments_.begin()) --found;
  if (found != segments_.end() && found->second.sealed && found->second.next <= wanted) ++found;
  if (found == segments_.end()) return std::nullopt;
  return extent_of(found->second);
}

}  // namespace driftline::journal
