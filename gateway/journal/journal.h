// What came in, durable: an append-only log in a directory of its own. The broker's acknowledgement follows `append`.
//
// Layout on disk: record.h. The newest segment is written, older ones are sealed; each start begins a new segment and never
// writes into a file of the life before. `lock` in the directory keeps a second process out.
//
// What survives. The process killed at any moment: every message whose append returned (the bytes are the kernel's then).
// Power cut: every message whose append returned more than one sync interval ago; with an interval of 0, every one.
// A failed sync leaves unknown what is on the disk: appends are refused, and at each interval the journal tries to carry
// what was not yet synced over into a new file. It goes on only when that file is on the disk.
//
// Positions rise strictly, also across restarts and retention, and are never used twice, provided that the caller says at
// opening which positions its other files already know of (`not_below`): after a power cut the history may remember more
// than the journal does, and a new message must not get a position that the history takes for done.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/journal/file_layer.h"
#include "gateway/journal/limits.h"
#include "gateway/journal/record.h"
#include "rules/records/time.h"

namespace driftline::journal {

struct JournalSettings {
  std::string directory{};                     // made if absent
  std::chrono::milliseconds sync_every{200};   // 0: each append waits until its message is on the disk
  std::uint64_t segment_bytes = segment_bytes_default;
  std::uint64_t bytes_max = 16ULL << 30;       // appends are refused while this much is held
  std::uint64_t keep_bytes = 1ULL << 30;       // what nobody needs any more is kept up to this ...
  std::chrono::hours keep_for{24 * 7};         // ... and up to this age
  Position not_below = 1;                      // first position that no other file of the gateway knows of
};

enum class AppendFailure : std::uint8_t {
  disk_full,    // the system has no room
  journal_full, // bytes_max is held and still needed
  io_failed,    // the system would not write
  sync_failed,  // a sync failed and the journal has not recovered yet
  too_large,    // topic or payload over limits.h: worth no retry
};
[[nodiscard]] std::string_view name_of(AppendFailure failure);
[[nodiscard]] constexpr bool worth_retrying(AppendFailure failure) { return failure != AppendFailure::too_large; }

struct Appended {
  Position position = 0;
  Time received{};  // as recorded: never earlier than that of the record before
};

struct JournalStatus {
  Position first = 0;   // oldest record held; equal to `next` when none is
  Position next = 1;    // what the next append gets
  Position synced = 1;  // all before this survives a power cut
  std::uint64_t bytes = 0;
  std::size_t segments = 0;
  std::uint64_t torn_bytes = 0;  // cut at this start
  bool sync_failing = false;
};

class Journal {
 public:
  // Makes the directory, takes the lock, cuts a torn end, begins a segment. An error is a sentence for a person.
  // `files` outlives the journal.
  [[nodiscard]] static tl::expected<std::unique_ptr<Journal>, std::string> open(const JournalSettings& settings,
                                                                                FileLayer& files = system_files());
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;
  ~Journal();  // syncs

  // Any thread; meant for the message callback: one write(2), no allocation in the steady state, never throws.
  // On failure nothing was appended.
  [[nodiscard]] tl::expected<Appended, AppendFailure> append(Time received, std::string_view topic,
                                                             std::string_view payload) noexcept;

  // Deletes old segments by age and bytes, never one that holds `needed_from` or later. Any thread but the callback's;
  // `now` is the gateway's clock.
  void retain(Position needed_from, Time now);

  // Waits until all that was appended before is on the disk. False: it could not be brought there.
  bool sync();

  [[nodiscard]] JournalStatus status() const;

 private:
  friend class Reader;

  struct Segment {
    std::uint64_t serial = 0;    // tells a file from one that took its name
    SegmentHead head;
    Position next = 0;           // one past its last record
    Time last_received{};
    std::uint64_t bytes = 0;     // whole records only
    std::uint64_t synced_bytes = 0;
    Position synced_next = 0;
    int file = -1;               // open while it is written or not yet synced
    bool sealed = false;
  };
  // What a reader needs to know of the segment it is in.
  struct Extent {
    std::uint64_t serial = 0;
    std::string path;
    Position first = 0;
    Position bound = 0;  // positions in it are below this
    std::uint64_t bytes = 0;
    bool sealed = false;
  };

  Journal(const JournalSettings& settings, FileLayer& files);
  [[nodiscard]] std::string path_of(Position first) const;

  // open.cpp
  std::string take_lock();
  std::string load_segments();
  std::string begin_life();
  std::string cut_torn_end(Position& next);
  std::string sync_left_behind();

  // journal.cpp; what ends in _locked needs mutex_
  tl::expected<Appended, AppendFailure> append_locked(Time received, std::string_view topic, std::string_view payload);
  tl::unexpected<AppendFailure> refused(int reason);
  int begin_segment_locked(Position first, Position follows);  // 0, or an errno
  void undo_write_locked(Segment& segment);
  Segment& newest_locked() { return segments_.rbegin()->second; }
  [[nodiscard]] Extent extent_of(const Segment& segment) const;
  [[nodiscard]] std::optional<Extent> extent_locked(Position wanted) const;

  // sync.cpp
  void sync_loop();
  bool sync_once();
  bool sync_newest_locked();
  void sync_failed_locked(int reason);
  bool carry_over();
  bool carry_over_segment(Position first, std::uint64_t& records);
  bool copy_records(const Segment& old, int file, std::uint64_t& bytes, std::uint64_t& carried);
  bool write_whole(int file, std::string_view bytes);

  const JournalSettings settings_;
  FileLayer& files_;
  int lock_ = -1;

  mutable std::mutex mutex_;  // segments_ and what follows
  std::map<Position, Segment> segments_;
  std::string buffer_;
  Time last_received_{};
  std::uint64_t held_bytes_ = 0;
  std::uint64_t serials_ = 0;
  std::uint64_t torn_bytes_ = 0;
  bool directory_dirty_ = false;
  bool sync_failing_ = false;
  int last_errno_ = 0;
  std::optional<AppendFailure> refusing_;
  std::vector<int> retired_;  // files that a sync may still be using
  std::size_t readers_waiting_ = 0;
  std::condition_variable grown_;

  std::mutex sync_mutex_;  // one sync at a time; taken before mutex_
  std::mutex stop_mutex_;
  std::condition_variable stop_;
  bool stopping_ = false;
  std::thread syncer_;
};

}  // namespace driftline::journal
