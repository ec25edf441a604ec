// Bringing the journal to the disk, and what is done when the disk would not.
#include <cerrno>
#include <cstring>
#include <utility>

#include "gateway/journal/events.h"
#include "gateway/journal/journal.h"
#include "gateway/journal/segment_reader.h"

namespace driftline::journal {

void Journal::sync_loop() {
  using namespace std::chrono_literals;
  const auto interval = settings_.sync_every.count() > 0 ? settings_.sync_every : 200ms;  // 0: only for recovery
  std::unique_lock guard(stop_mutex_);
  while (!stop_.wait_for(guard, interval, [&] { return stopping_; })) {
    guard.unlock();
    sync();
    guard.lock();
  }
}

bool Journal::sync() {
  const std::lock_guard one_at_a_time(sync_mutex_);
  bool failing = false;
  {
    const std::lock_guard guard(mutex_);
    failing = sync_failing_;
  }
  return failing ? carry_over() : sync_once();
}

bool Journal::sync_once() {
  struct Due {
    Position first;
    std::uint64_t serial;
    int file;
    std::uint64_t bytes;
    Position next;
  };
  std::vector<Due> due;
  std::vector<int> retired;
  bool directory = false;
  {
    const std::lock_guard guard(mutex_);
    for (const auto& [first, segment] : segments_)
      if (segment.file >= 0 && (segment.sealed || segment.synced_bytes != segment.bytes))
        due.push_back({first, segment.serial, segment.file, segment.bytes, segment.next});
    directory = std::exchange(directory_dirty_, false);
    retired.swap(retired_);
  }
  int reason = 0;
  for (const Due& one : due)
    if (reason == 0 && files_.sync(one.file) != 0) reason = errno;
  if (reason == 0 && directory && files_.sync_directory(settings_.directory) != 0) reason = errno;
  for (const int file : retired) files_.close(file);

  const std::lock_guard guard(mutex_);
  if (reason != 0) {
    directory_dirty_ = directory_dirty_ || directory;
    sync_failed_locked(reason);
    return false;
  }
  for (const Due& one : due) {
    const auto found = segments_.find(one.first);
    if (found == segments_.end() || found->second.serial != one.serial) continue;
    Segment& segment = found->second;
    segment.synced_bytes = one.bytes;
    segment.synced_next = one.next;
    if (!segment.sealed || segment.bytes != one.bytes) continue;
    files_.close(segment.file);
    segment.file = -1;
  }
  return true;
}

// In the mode without an interval: the append waits for this.
bool Journal::sync_newest_locked() {
  if (files_.sync(newest_locked().file) == 0 &&
      (!directory_dirty_ || files_.sync_directory(settings_.directory) == 0)) {
    directory_dirty_ = false;
    return true;
  }
  sync_failed_locked(errno);
  return false;
}

void Journal::sync_failed_locked(int reason) {
  sync_failing_ = true;
  events::sync_failed(std::strerror(reason));
}

// Appends are refused meanwhile, so the segments stand still.
bool Journal::carry_over() {
  std::vector<Position> unsure;
  {
    const std::lock_guard guard(mutex_);
    for (const auto& [first, segment] : segments_)
      if (segment.file >= 0) unsure.push_back(first);
  }
  std::uint64_t records = 0;
  for (const Position first : unsure)
    if (!carry_over_segment(first, records)) return false;
  const std::lock_guard guard(mutex_);
  sync_failing_ = false;
  directory_dirty_ = false;
  events::sync_back(records);
  return true;
}

// Everything of the segment that was not known to be on the disk goes into a new file, which takes its place in the order
// of positions; under its very name where nothing of it was synced. Readers find their place again by position.
bool Journal::carry_over_segment(Position first, std::uint64_t& records) {
  Segment old;
  {
    const std::lock_guard guard(mutex_);
    Segment& segment = segments_.at(first);
    if (segment.sealed && segment.synced_bytes == segment.bytes) {  // whole on the disk before the trouble
      files_.close(segment.file);
      segment.file = -1;
      return true;
    }
    old = segment;
  }
  const std::string unfinished = settings_.directory + "/carry.tmp";
  const int file = files_.create(unfinished);
  if (file < 0) return false;
  Segment fresh = old;
  fresh.head.first = old.synced_next;
  fresh.head.follows = old.synced_next == first ? old.head.follows : old.synced_next;
  fresh.bytes = segment_head_bytes;
  fresh.file = file;
  std::uint64_t carried = 0;
  if (!write_whole(file, write_head(fresh.head)) || !copy_records(old, file, fresh.bytes, carried) ||
      files_.sync(file) != 0 || files_.rename(unfinished, path_of(fresh.head.first)) != 0 ||
      files_.sync_directory(settings_.directory) != 0) {
    files_.close(file);
    return false;
  }
  const std::uint64_t meant = old.next - old.synced_next;
  if (carried < meant) events::records_lost_in_carry_over(path_of(first), meant - carried);
  records += carried;
  fresh.synced_bytes = fresh.bytes;
  fresh.synced_next = fresh.next;

  const std::lock_guard guard(mutex_);
  fresh.serial = ++serials_;
  held_bytes_ += fresh.bytes;
  if (fresh.head.first != first) {
    Segment& before = segments_.at(first);
    // Not cut: harmless, what is behind `next` is passed over.
    (void)files_.truncate(before.file, before.synced_bytes);
    held_bytes_ -= before.bytes - before.synced_bytes;
    before.bytes = before.synced_bytes;
    before.next = before.synced_next;
    before.sealed = true;
    before.file = -1;
  } else {
    held_bytes_ -= old.bytes;
  }
  files_.close(old.file);
  if (fresh.sealed) {
    files_.close(fresh.file);
    fresh.file = -1;
  }
  segments_.insert_or_assign(fresh.head.first, fresh);
  return true;
}

bool Journal::copy_records(const Segment& old, int file, std::uint64_t& bytes, std::uint64_t& carried) {
  SegmentReader reader(files_, path_of(old.head.first));
  if (!reader.opened()) return false;
  std::string out;
  RecordView record;
  for (;;) {
    const auto step = reader.next(old.bytes, true, record);
    if (step == SegmentReader::Step::end) return true;
    if (step != SegmentReader::Step::record) return false;
    if (record.position < old.synced_next || record.position >= old.next) continue;
    write_record(record, out);
    if (!write_whole(file, out)) return false;
    bytes += out.size();
    ++carried;
  }
}

bool Journal::write_whole(int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const long written = files_.write(file, bytes);
    if (written <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

}  // namespace driftline::journal
