#include "gateway/journal/reader.h"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <thread>

#include "gateway/journal/events.h"

namespace driftline::journal {

Reader::Reader(Journal& journal, Position from) : journal_(journal), next_(from) {}

std::span<const RecordView> Reader::read(const ReadLimits& limits, std::chrono::milliseconds wait) {
  records_.clear();
  bool waited = wait.count() <= 0;
  for (;;) {
    while (enter_segment()) {
      const Filled filled = fill(limits);
      if (filled == Filled::failed) {
        std::this_thread::sleep_for(wait);  // the caller comes again at once
        return {};
      }
      if (!records_.empty()) return records_;
      if (filled == Filled::tail) break;
    }
    if (waited) return {};
    std::unique_lock guard(journal_.mutex_);
    ++journal_.readers_waiting_;
    journal_.grown_.wait_for(guard, wait, [&] { return journal_.newest_locked().next > next_; });
    --journal_.readers_waiting_;
    waited = true;
  }
}

// Sees to it that `segment_` is the one to read next and `extent_` is fresh. False: there is none.
bool Reader::enter_segment() {
  std::optional<Journal::Extent> extent;
  {
    const std::lock_guard guard(journal_.mutex_);
    if (segment_ != nullptr) {
      const auto here = journal_.segments_.find(extent_.first);
      if (here != journal_.segments_.end() && here->second.serial == extent_.serial) {
        extent_ = journal_.extent_of(here->second);
        return true;
      }
      segment_.reset();  // deleted, or another file took its place
    }
    extent = journal_.extent_locked(next_);
  }
  if (!extent) return false;
  extent_ = *extent;
  expected_ = extent_.first;
  segment_ = std::make_unique<SegmentReader>(journal_.files_, extent_.path);
  return true;
}

Reader::Filled Reader::fill(const ReadLimits& limits) {
  if (!segment_->opened()) {
    if (errno != ENOENT) {
      events::read_failed(extent_.path, std::strerror(errno));
      segment_.reset();
      return Filled::failed;
    }
    return end_of_segment();  // the file is gone: all of it is damage
  }
  std::size_t bytes = 0;
  RecordView record;
  while (records_.size() < limits.records_max && bytes < limits.bytes_max) {
    switch (segment_->next(extent_.bytes, records_.empty(), record)) {
      case SegmentReader::Step::record:
        if (record.position < expected_ || record.position >= extent_.bound) continue;  // of another life
        note_damage(record.position);
        expected_ = record.position + 1;
        if (record.position < next_) continue;
        next_ = expected_;
        bytes += record.topic.size() + record.payload.size();
        records_.push_back(record);
        continue;
      case SegmentReader::Step::pause: return Filled::some;
      case SegmentReader::Step::end: return records_.empty() ? end_of_segment() : Filled::some;  // views live in it
      case SegmentReader::Step::failed:
        events::read_failed(extent_.path, std::strerror(errno));
        return records_.empty() ? Filled::failed : Filled::some;
    }
  }
  return Filled::some;
}

// All that the segment holds, or held, is read.
Reader::Filled Reader::end_of_segment() {
  note_damage(extent_.bound);
  expected_ = std::max(expected_, extent_.bound);
  next_ = std::max(next_, extent_.bound);
  if (!extent_.sealed) return Filled::tail;
  segment_.reset();
  return Filled::some;
}

// Bytes that were no record lie behind us, and `found` is the next position that is there.
void Reader::note_damage(Position found) {
  const std::uint64_t bytes = segment_ != nullptr ? segment_->take_skipped() : 0;
  const Position from = std::max(expected_, next_);
  const std::uint64_t lost = found > from ? found - from : 0;
  if (lost == 0 && (bytes == 0 || found < next_)) return;
  damaged_bytes_ += bytes;
  lost_records_ += lost;
  events::damaged(extent_.path, bytes, lost, from);
}

}  // namespace driftline::journal
