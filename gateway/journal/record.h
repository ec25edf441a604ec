// The bytes of the journal. All numbers little-endian.
//
// A segment is a file `<first position, 20 digits>.journal`: a head of 40 bytes, then records without gaps.
//
//   head    8  "driftjrn"
//           4  version, 1
//           4  CRC-32 of the 24 bytes that follow
//           8  first:    position of the first record
//           8  follows:  the position that would have come next when the segment was begun; below `first` where positions
//                        leapt (see Journal::open)
//           8  floor:    `received` of the record before, ms since 1970
//   record  4  mark, D7 "rec"
//           4  CRC-32 (ISO-HDLC, zlib's) of all that follows in the record
//           4  length of what follows this field
//           8  position
//           8  received, ms since 1970
//           2  length of the topic
//           .  topic, then payload to the end
//
// A record is valid when its mark, bounds and checksum hold. Its position stands in it and is never renumbered: positions
// are counted by one within a segment, so the gap around a damaged stretch says how many records it cost.
// Torn end: the bytes after the last valid record of the newest segment. The writer died, or the disk was full: not an
// error; cut and counted at the next start. Torn middle: bytes that are no record with a valid one behind them, or in an
// older segment. That is damage: skipped by searching for the next valid record, counted, reported, left as it is.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "rules/records/time.h"

namespace driftline::journal {

using Position = std::uint64_t;  // counts records from 1; 0: before all

struct SegmentHead {
  Position first = 0;
  Position follows = 0;
  Time floor{};
  bool operator==(const SegmentHead&) const = default;
};

inline constexpr std::size_t segment_head_bytes = 40;
inline constexpr std::size_t record_head_bytes = 12;
inline constexpr std::size_t record_body_bytes_min = 18;
inline constexpr std::size_t record_bytes_min = record_head_bytes + record_body_bytes_min;

[[nodiscard]] std::string write_head(const SegmentHead& head);
[[nodiscard]] std::optional<SegmentHead> read_head(std::string_view bytes);

// Views into bytes that belong to somebody else.
struct RecordView {
  Position position = 0;
  Time received{};
  std::string_view topic;
  std::string_view payload;
};

[[nodiscard]] inline std::size_t record_bytes(std::size_t topic, std::size_t payload) {
  return record_bytes_min + topic + payload;
}

// Replaces `out`. Topic and payload within limits.h.
void write_record(const RecordView& record, std::string& out);

enum class Parse : std::uint8_t {
  record,  // valid
  more,    // may be valid once `bytes` are there
  damage,  // no record begins here
};

struct Parsed {
  Parse kind = Parse::damage;
  RecordView record;
  std::size_t bytes = 0;  // of the record; for `more`, how many it takes in all
};

// What begins at the start of `bytes`.
[[nodiscard]] Parsed parse_record(std::string_view bytes);

// Where the next mark begins at or after `from`; npos when there is none. A mark cut off by the end counts.
[[nodiscard]] std::size_t find_mark(std::string_view bytes, std::size_t from);

}  // namespace driftline::journal
