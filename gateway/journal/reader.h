// Follows the journal from a position: the queue between the message callback and the judgement, on disk, so that memory
// stays bounded however far the judgement is behind.
#pragma once

#include <chrono>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "gateway/journal/journal.h"
#include "gateway/journal/segment_reader.h"

namespace driftline::journal {

struct ReadLimits {
  std::size_t records_max = 4096;
  std::size_t bytes_max = 1U << 20;  // of records; one larger than this still comes alone
};

// One thread a reader; any number of readers. The journal outlives them.
class Reader {
 public:
  // The first record to come is the oldest one at or after `from`.
  Reader(Journal& journal, Position from);

  // Records in the order of their positions, none twice, none missed but damaged ones. Waits up to `wait` while there is
  // none; empty then. The views live until the next call. A call that the system fails gives nothing, says so once, and
  // can be repeated.
  [[nodiscard]] std::span<const RecordView> read(const ReadLimits& limits, std::chrono::milliseconds wait);

  [[nodiscard]] Position next() const { return next_; }  // all before this was given, or is lost

  // Since this reader was made.
  [[nodiscard]] std::uint64_t damaged_bytes() const { return damaged_bytes_; }
  [[nodiscard]] std::uint64_t lost_records() const { return lost_records_; }

 private:
  enum class Filled : std::uint8_t { some, tail, failed };
  bool enter_segment();
  Filled fill(const ReadLimits& limits);
  Filled end_of_segment();
  void note_damage(Position found);

  Journal& journal_;
  Position next_;
  Position expected_ = 0;  // in this segment
  Journal::Extent extent_;
  std::unique_ptr<SegmentReader> segment_;
  std::vector<RecordView> records_;
  std::uint64_t damaged_bytes_ = 0;
  std::uint64_t lost_records_ = 0;
};

}  // namespace driftline::journal
