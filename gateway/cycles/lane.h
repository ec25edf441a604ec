// Ordered samples of one station to turns.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "gateway/cycles/reorder_window.h"
#include "gateway/cycles/turn.h"
#include "rules/records/half_cycle.h"

namespace driftline::cycles {

class Lane {
 public:
  // Samples in event-time order. Finished turns are appended to `out`.
  void step(const HeldSample& held, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out);
  // The gateway's clock has reached `now` and nothing else came.
  void advance_to(Time now, Habits& habits, std::vector<HalfCycle>& out);
  [[nodiscard]] std::optional<Time> wake_at() const;
  void finish(Habits& habits, std::vector<HalfCycle>& out);
  [[nodiscard]] bool turn_open() const { return turn_.has_value(); }

  bool operator==(const Lane&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(rest_, turn_, pump_, last_time_, last_seq_, last_received_, level_pct_, temp_c_);
  }

 private:
  [[nodiscard]] bool pumping(const Sample& sample) const;
  [[nodiscard]] bool rise_begins(const Sample& sample) const;
  [[nodiscard]] bool rise_ends(const Sample& sample) const;
  void begin(const HeldSample& held, const ControllerSettings& settings);
  // Without a pump flag: the rest sample from which on the run is to be read, and whether it marks the start.
  struct Onset {
    std::size_t first = 0;
    bool edged = false;
  };
  [[nodiscard]] Onset onset(const Sample& sample) const;
  void go_on(const HeldSample& held);
  void keep_rest(const Sample& sample);
  [[nodiscard]] bool vent_settled() const;
  void close(Habits& habits, std::vector<HalfCycle>& out);

  Trace rest_;                  // last samples at rest
  std::optional<Turn> turn_;
  std::optional<bool> pump_;    // as last given; empty: never given
  std::optional<Time> last_time_;
  std::optional<std::uint64_t> last_seq_;
  Time last_received_{};
  std::optional<double> level_pct_;
  std::optional<double> temp_c_;
};

}  // namespace driftline::cycles
