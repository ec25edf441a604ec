// Bounds of the running gateway, each with its reason.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace driftline {

// What the page is shown of all stations. 20,000 of them cost some ms.
inline constexpr std::chrono::seconds show_every{1};

// Messages and bytes of one batch: a transaction of this size takes tens of milliseconds.
inline constexpr std::size_t batch_messages_max = 16'384;
inline constexpr std::size_t batch_bytes_max = 16U << 20;
inline constexpr std::size_t payload_bytes_kept =
    4096;  // of a slot's memory from batch to batch: 64 MB in all at most

// Least time between two batches. Each looks at every station and is a transaction, so a busy plant is
// written in larger ones: a message waits this long at most, which is little beside the 30 s of the reorder
// window.
inline constexpr std::chrono::milliseconds batch_spacing{20};
inline constexpr std::chrono::milliseconds batch_spacing_busy{100};
inline constexpr std::size_t batch_messages_busy = 200;
inline constexpr std::chrono::milliseconds journal_wait{250};  // the tick's resolution when nothing comes
inline constexpr std::chrono::seconds tick_every{1};

// Every station's state is saved within about a minute, so that a start after a crash judges little twice.
inline constexpr std::chrono::seconds checkpoint_every{2};
inline constexpr std::size_t checkpoint_rounds = 30;

inline constexpr std::chrono::seconds tend_every{5};     // retention slice and checkpoint of the history
inline constexpr std::chrono::seconds retain_every{10};  // old journal segments
// How long a clean end goes on judging; what is left is in the journal. Well within the usual 90 s of a
// service manager.
inline constexpr std::chrono::seconds drain_max{20};
inline constexpr std::chrono::milliseconds commit_retry{1000};

// A thread that has not moved for this long hangs: longer than any wait on the broker that is allowed for.
inline constexpr std::chrono::seconds hang_after{90};

// The local socket for the command line: one question at a time, so who connects and says nothing must not hold it long.
inline constexpr std::chrono::seconds act_socket_wait{2};
inline constexpr int act_socket_waiting_max = 16;
inline constexpr std::chrono::seconds act_answer_wait{30};  // a disk that stalls
// How long the command line goes on trying while a gateway starts or ends.
inline constexpr std::chrono::seconds act_start_wait{20};

// The watcher is watched. A disk of which a gigabyte is left takes a day of a large plant; it is well again with half as much more.
inline constexpr std::chrono::seconds self_watch_every{5};
inline constexpr std::uint64_t disk_low_bytes = 1ULL << 30;
inline constexpr std::uint64_t disk_well_bytes = disk_low_bytes + disk_low_bytes / 2;
inline constexpr int silent_stations_least = 2;  // one silent station is a warning of its own
inline constexpr std::chrono::seconds end_told_wait{5};  // for the message that the gateway ends, to leave before it does

inline constexpr std::chrono::seconds health_every{2};
inline constexpr std::chrono::seconds health_stale_after{20};

}  // namespace driftline
