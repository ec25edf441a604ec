// What became of samples: each that was taken is in exactly one of these.
#pragma once

#include <cstdint>

namespace driftline::cycles {

struct SampleCounts {
  std::uint64_t used = 0;     // made part of the station's stream, at rest or in a turn
  std::uint64_t doubled = 0;  // was there already
  std::uint64_t behind = 0;   // not used: behind every window, or of a time that no clock showed
  std::uint64_t held = 0;     // waits: for its order, for a clock's proof, for its hole to be filled

  [[nodiscard]] std::uint64_t taken() const { return used + doubled + behind + held; }
  SampleCounts& operator+=(const SampleCounts& other) {
    used += other.used;
    doubled += other.doubled;
    behind += other.behind;
    held += other.held;
    return *this;
  }
  bool operator==(const SampleCounts&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(used, doubled, behind, held);
  }
};

}  // namespace driftline::cycles
