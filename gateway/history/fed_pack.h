// What the rules were fed, as bytes. Version 1, never to change; a new layout gets a new version.
//
// A chunk holds events of one station, oldest first. Its first byte is the version; then for each event
//
//   varint  kind + 16 * (received - the one before, ms), 0 to 7 as in FedBody, or 8; received never goes back
//   varint  0: settled by waiting; 1: by the end of a recording; else 2 + zigzag(position - the one before that was one)
//   .       the body:
//     turn      zigzag(row id of the half-cycle - the one before)
//     level     zigzag(time - received - the same of the event before), a byte of flags (1 level, 2 switch known, 4 switch
//               made, 8 temperature, 16 at rest, 32 figures in thousandths), the figures: zigzag of the difference to the
//               one before in thousandths, or 8 bytes IEEE 754, little-endian
//     note      time as above, kind, 1 + line or 0, text (length, bytes)
//     settings  time, before, after: a byte of flags (1 << field), then each known one in 8 bytes
//     presence  time, 0 or 1
//     sensor    time, 1 + line or 0, trouble, over
//     heartbeat time
//     unusable  nothing (appended to version 1, as what follows: a program before it takes such a chunk for damaged)
//     8         a note with a name: as a note, then who wrote it (length, bytes)
//
// "The one before" is 0 at a chunk's beginning: a chunk is read by itself. A heartbeat a minute takes about 6 bytes; a
// closed chunk is deflated besides, to about a third.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "rules/records/fed_event.h"

namespace driftline::history {

struct StoredFedEvent {
  FedEvent event;
  std::int64_t half_cycle_id = 0;  // of a TurnTold
  bool operator==(const StoredFedEvent&) const = default;
};

// What differences are taken from.
struct FedBefore {
  std::int64_t received_ms = 0;
  std::uint64_t position = 0;
  std::int64_t half_cycle_id = 0;
  std::int64_t behind_ms = 0;
  std::int64_t level_thousandths = 0;
  std::int64_t temp_thousandths = 0;
};

class FedPacker {
 public:
  void put(const FedEvent& event, std::int64_t half_cycle_id);
  [[nodiscard]] const std::string& bytes() const { return bytes_; }
  [[nodiscard]] int count() const { return count_; }

 private:
  std::string bytes_;
  FedBefore before_;
  int count_ = 0;
};

// Reads one chunk. `bytes` outlive it.
class FedUnpacker {
 public:
  explicit FedUnpacker(std::string_view bytes);
  // False at the end, and at bytes that are none: `damaged` tells which.
  [[nodiscard]] bool next(StoredFedEvent& event);
  [[nodiscard]] bool damaged() const { return damaged_; }

 private:
  bool read(StoredFedEvent& event);
  std::string_view bytes_;
  FedBefore before_;
  bool damaged_ = false;
};

// Deflated (RFC 1950), the length before it as a varint.
[[nodiscard]] std::string deflated(std::string_view bytes);
[[nodiscard]] std::optional<std::string> inflated(std::string_view bytes);

}  // namespace driftline::history
