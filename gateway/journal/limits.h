// Bounds of the journal, each with its reason.
#pragma once

#include <cstddef>
#include <cstdint>

namespace driftline::journal {

// The length of a topic stands in 16 bits, as it does on the wire (MQTT 5, section 1.5.4).
inline constexpr std::size_t topic_bytes_max = 65'535;

// Far above what a station sends (a batch of an hour at 10 Hz is about 5 MB); a length beyond it can only be damage, so a
// reader never asks for more memory than this on the word of a damaged byte.
inline constexpr std::size_t payload_bytes_max = 16U << 20;

// A segment is what retention deletes and what a start must read once: 64 MiB is read in well under a second.
inline constexpr std::uint64_t segment_bytes_default = 64U << 20;
inline constexpr std::uint64_t segment_bytes_min = 4096;

// Bytes that a reader takes from a file in one go, where the caller's own bound is not smaller.
inline constexpr std::size_t read_chunk_bytes = 256U << 10;

// `received` is held back to the last stamp when the clock steps back; a step beyond this is worth a line in the log.
inline constexpr std::int64_t clock_behind_ms_said = 1'000;

}  // namespace driftline::journal
