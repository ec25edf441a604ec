// Late data behind live data: fills the holes the live stream left.
//
// After a link outage some senders go live at once and send what they kept afterwards, minutes to hours later and beside
// the live samples. Those samples go through a window and a lane of their own, hole by hole: the lane starts with the
// turn the hole cut, and ends at the first live sample behind the hole, where its open turn is joined to the one that
// came out of the hole. Until then, or until hole_kept_s have passed, a turn that a hole cut is not told.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gateway/cycles/lane.h"
#include "gateway/cycles/sample_counts.h"

namespace driftline::cycles {

class LateData {
 public:
  std::vector<Hole> holes;  // oldest first; the live lane adds to them

  [[nodiscard]] bool in_hole(Time time) const;
  void take(const HeldSample& held, const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out);
  void advance_to(Time now, const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out);
  [[nodiscard]] std::optional<Time> wake_at() const;
  // Tells what was held back. `live` is finished already.
  void finish(const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out);
  // The station's clock was moved: holes are of the old time, nothing will fill them.
  void clock_moved(Habits& habits, std::vector<HalfCycle>& out);
  // At the bound on holes the oldest is given up.
  void keep_bounds(Habits& habits, std::vector<HalfCycle>& out);

  [[nodiscard]] SampleCounts counts() const;

  bool operator==(const LateData&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(holes, window_, lane_, filling_, last_received_, counts_);
  }

 private:
  void fold(std::span<const HeldSample> due, const ControllerSettings& settings, Habits& habits, Lane& live,
            std::vector<HalfCycle>& out);
  void start_filling(const Hole& hole, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out);
  void end_filling(const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out);
  static void give_up(Hole& hole, Habits& habits, std::vector<HalfCycle>& out);

  ReorderWindow window_;
  Lane lane_;
  std::optional<Time> filling_;  // `after` of the hole being filled
  Time last_received_{};
  SampleCounts counts_;
};

}  // namespace driftline::cycles
