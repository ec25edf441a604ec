// Bounds of the messages, each with its reason.
#pragma once

#include <chrono>

namespace driftline::messages {

inline constexpr long beat_hook_limit_ms = 10'000;  // the next call comes minutes later
inline constexpr long connect_limit_ms = 10'000;   // a mail server that does not answer by then is away
inline constexpr long total_limit_ms = 60'000;     // RFC 5321 allows minutes; a person waits for the message
inline constexpr std::chrono::seconds back_off_first{5};
inline constexpr std::chrono::seconds back_off_most{600};
inline constexpr std::chrono::minutes dead_after{5};  // a channel that fails for this long is told through the others
// More than this many messages to one person in this time is a flood (ISA-18.2: more than 10 in 10 minutes, READ-COPY): from
// then on all but `act` come as one summary, one in that time at most.
inline constexpr std::chrono::minutes flood_window{10};
inline constexpr int flood_messages = 10;
inline constexpr int rows_a_look = 500;             // a summary of more would be read by nobody
inline constexpr std::chrono::milliseconds look_spacing{200};  // so that a message leaves within a second
inline constexpr std::chrono::hours trend_for{24 * 30};  // as the page's strips
inline constexpr std::size_t trend_points_min = 5;       // fewer are no trend
inline constexpr int trend_turns_max = 5'000;            // a month of eight lines, each every hour
inline constexpr int changes_looked_at = 1'000;          // of one station's warnings, for the last words of one
inline constexpr std::size_t told_in_full = 3;           // of a bundle, and every act
inline constexpr std::size_t digest_lines_most = 40;     // of one state; the page has all
inline constexpr int unsure_most = 2;               // handed over so often without an answer: no third copy
inline constexpr std::size_t key_bytes_min = 16;    // of a webhook's signature

}  // namespace driftline::messages
