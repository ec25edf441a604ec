// Tells a station's clock that was set from data that came late, by how far event time lags the gateway's clock.
//
// The lag of a sample is its way through the network, never less than nothing, plus how wrong the station's clock is,
// which stays. So the least lag of a while is the clock's error, and:
//   - a lag far below it: the clock was set forward (or one sample's time is nonsense);
//   - a lag above it that stays, with samples coming at their own pace and none at the old lag: it was set back;
//   - a lag above it that shrinks, or comes beside samples at the old lag: old data, sent late.
// With seq a clock set back shows at once: a later sample with an earlier time.
#pragma once

#include <optional>
#include <vector>

#include "gateway/cycles/reorder_window.h"
#include "gateway/cycles/sample_counts.h"

namespace driftline::cycles {

enum class ClockVerdict : std::uint8_t {
  live,     // take it; `held.step_ms` says if the clock was moved a little before it
  waiting,  // undecided: kept here
  behind,   // older than what was released: late data, if anything
  stepped,  // the clock was moved by `step_ms`: the samples kept here are the first of the new time
};

class ClockWatch {
 public:
  // `in_hole`: its time falls into a stretch the live stream never covered.
  [[nodiscard]] ClockVerdict judge(HeldSample& held, std::optional<Time> released_to, bool in_hole);
  // After `stepped`: the samples of the new time, oldest first; the watch starts anew from them.
  [[nodiscard]] std::vector<HeldSample> take_waiting();
  // The end: no clock will be proven to have been set.
  void give_up();
  [[nodiscard]] SampleCounts counts() const;  // of the samples that it did not hand on
  [[nodiscard]] std::int64_t step_ms() const { return step_ms_; }
  // How long a sample may still be under way, beyond the usual lateness, for senders that batch by the minute. Whole
  // seconds: what waits is compared in milliseconds.
  [[nodiscard]] double batching_s() const { return static_cast<double>(static_cast<std::int64_t>(spread_ms_ / 1000.0) + 1); }
  // Event time now, as far as the lag tells.
  [[nodiscard]] std::optional<Time> station_time(Time received) const;

  bool operator==(const ClockWatch&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(lag_ms_, spread_ms_, lag_at_, dropped_at_, since_drop_, newest_seq_, newest_time_, waiting_, step_ms_, counts_);
  }

 private:
  [[nodiscard]] double lag_now(Time received) const;
  [[nodiscard]] bool waiting_keep_pace() const;
  ClockVerdict wait(const HeldSample& held, double lag_ms);
  void accept(const HeldSample& held, double lag_ms);

  std::optional<double> lag_ms_;   // least lag lately
  double spread_ms_ = 0;           // how far lags lie above the least, at most, lately
  Time lag_at_{};                  // received
  Time dropped_at_{};              // received, when the least lag last fell by more than noise
  std::int32_t since_drop_ = 0;    // samples since then
  std::optional<std::uint64_t> newest_seq_;
  std::optional<Time> newest_time_;
  std::vector<HeldSample> waiting_;
  SampleCounts counts_;  // doubled; behind: waited, and no clock had been set
  std::int64_t step_ms_ = 0;
};

}  // namespace driftline::cycles
