// Bounds of the history, each with its reason.
#pragma once

#include <cstdint>

namespace driftline::history {

// Rows that one question may ask for: a slow reader would otherwise hold a snapshot for long and the log of the store
// would grow meanwhile.
inline constexpr int rows_max = 20'000;

// Rows that one slice of retention deletes: a few ms, so that the judgement hardly waits for it.
inline constexpr int retention_slice_rows = 2'000;
// Free pages given back to the file system with a slice.
inline constexpr int vacuum_slice_pages = 512;

// The log is worked into the file when it has grown to this many pages (4 kB each): 16 MB.
inline constexpr int checkpoint_pages = 4'096;
// A quiet store cuts its log if it is longer than this.
inline constexpr std::int64_t wal_bytes_quiet = 4 << 20;

// Longest wait for a lock that another connection holds. There is one writer, so only a start or a checkpoint waits.
inline constexpr int busy_ms = 5'000;

// Longest wait of a checkpoint for a reader: the judgement waits behind it, and the next one comes soon.
inline constexpr int checkpoint_busy_ms = 200;

// Answers of a server that are kept beside a refused row are cut at this.
inline constexpr std::size_t answer_bytes_max = 2'000;

// A chunk of fed events is written anew with each batch that adds to it, at most about once a minute and station: small
// enough that this costs no more than the station's state does, large enough to be worth deflating. Held in memory for each
// station that is heard: 20,000 of them take 60 MB.
inline constexpr std::size_t fed_chunk_bytes = 3'000;

}  // namespace driftline::history
