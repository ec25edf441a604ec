// Bounds of the metrics writer, each with its reason.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace driftline::metrics {

// Lines of one request. Measured on both servers: smaller ones cost more a line, larger ones block the server for up to a
// second.
inline constexpr int batch_lines_max = 5'000;

// A line holds two names and some twenty numbers; a longer one is a mistake of ours. Servers cut at 64 kB.
inline constexpr std::size_t line_bytes_max = 4'096;
inline constexpr std::size_t tag_bytes_max = 64;  // as long as a site's or station's name may be

// An answer is kept with a refused row and shown to a person; no server says more that matters.
inline constexpr std::size_t answer_bytes_max = 4'096;

// Waiting between attempts: doubled from the first to the last, times a random 0.5 to 1.
inline constexpr std::chrono::milliseconds wait_first{1'000};
inline constexpr std::chrono::milliseconds wait_most{60'000};
// A server may ask for longer; more than this would be a mistake of its clock.
inline constexpr std::chrono::seconds retry_after_most{600};

// So many single rows refused in a row, with none taken, say that the server refuses everything: that is waited out ...
inline constexpr int refused_in_a_row_max = 16;
// ... so many times, before the rows are put aside after all, so that the cursor never stands for ever.
inline constexpr int holds_max = 5;

// Nanoseconds since 1970 fit a server's 64 bits between these (years 1678 to 2262).
inline constexpr std::int64_t time_ms_min = -9'223'372'036'854;
inline constexpr std::int64_t time_ms_max = 9'223'372'036'854;

}  // namespace driftline::metrics
