// The judging thread: journal -> plant -> history, in batches; and the clock's tick, which makes silence an
// input.
//
// A batch is what the journal has (bounded), judged, with what silence caused, in one transaction. Batches
// are spaced by batch_spacing, so that a busy plant is written in large transactions and a quiet one without
// delay.
//
// The tick: `Intake::mark` gives a moment and a position; when all before that position has been judged, the
// plant is advanced to that moment. The replay of the same messages gives the same rows, because what silence
// causes is due at stated times, whenever it is asked for.
//
// A history that cannot be written is tried again for ever: the journal holds what comes in meanwhile, up to
// its bound. A history that says it will never work, or a broken invariant, ends the thread: `failure` says
// why, and the program is to end.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "gateway/app/intake.h"
#include "gateway/app/plant.h"
#include "gateway/history/history.h"
#include "gateway/journal/journal.h"

namespace driftline {

struct JudgingParts {
  journal::Journal* journal = nullptr;  // all outlive the thread
  history::History* history = nullptr;
  Intake* intake = nullptr;
  std::function<void()> committed;  // something new is in the history; must not block
  // For those who look on; neither may block, both may be empty. `plant` each second.
  std::function<void(std::vector<Judged::SeenRow>)> seen{};
  std::function<void(Time as_of, std::vector<StationSummary>)> plant{};
};

// Every sample that came is in one of used, doubled, behind, held and refused.
struct SampleTotals {
  std::uint64_t used = 0;
  std::uint64_t doubled = 0;
  std::uint64_t behind = 0;
  std::uint64_t held = 0;
  std::uint64_t refused = 0;
  [[nodiscard]] std::uint64_t read() const { return used + doubled + behind + held; }
  bool operator==(const SampleTotals&) const = default;
};
[[nodiscard]] SampleTotals totals_of(const StationSummary& station);

struct JudgingCounts {
  std::uint64_t messages = 0;     // that this process received
  std::uint64_t from_before = 0;  // that an earlier process had received: read again after a crash, or left over
  std::uint64_t half_cycles = 0;
  std::uint64_t warning_changes = 0;
  std::uint64_t faults = 0;
  std::uint64_t commits = 0;
  std::uint64_t commit_failures = 0;
  std::uint64_t behind = 0;  // messages in the journal that wait
  std::uint64_t stations = 0;
  std::uint64_t set_aside = 0;
  SampleTotals samples;           // of all stations, since each was first heard
  std::uint64_t clocks_off = 0;   // stations whose samples are stamped far from their arrival
  std::string clock_most_off;     // of them the one that is furthest off
};

class Judging {
 public:
  // `from`: the first position to read.
  Judging(Plant plant, journal::Position from, JudgingParts parts);
  ~Judging();  // as stop()
  Judging(const Judging&) = delete;
  Judging& operator=(const Judging&) = delete;

  void start();
  // Judges and commits what is in the journal (for drain_max at most), saves every station, ends. Gives up on
  // a history that fails: the journal has it all.
  void stop();

  void reconfigure(PlantSettings settings);  // from the next batch on
  void watch(std::vector<StationId> stations);  // likewise: of these `seen` is called
  [[nodiscard]] JudgingCounts counts() const;
  [[nodiscard]] std::optional<std::string> failure() const;
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }

 private:
  struct Loop;
  void run();
  bool pause(std::chrono::milliseconds time);  // false: it was ended by stop()

  Plant plant_;
  const journal::Position from_;
  const JudgingParts parts_;
  const journal::Position first_own_;  // what lies before it came to an earlier process
  std::thread thread_;
  std::atomic<std::uint64_t> pulse_{0};
  mutable std::mutex mutex_;  // all below
  std::condition_variable changed_;
  bool stopping_ = false;
  std::optional<PlantSettings> settings_;
  std::optional<std::vector<StationId>> watched_;
  std::optional<std::string> failure_;
  JudgingCounts counts_;
};

}  // namespace driftline
