// The rest before a turn, as far as the turn's start may have to be read from it.
//
// Kept: the last samples as they came, older ones far enough apart to hold a minute, and where the sender went over to
// its fast rate or another line was selected. Where the controller does not say whether the pump runs, one of these marks
// its start: a soft start may show no pressure for seconds, and a gauge at the far end of the line shows none until the
// grease moves there.
#pragma once

#include <optional>

#include "gateway/cycles/trace.h"

namespace driftline::cycles {

class Rest {
 public:
  // In event-time order. `missing`: seq tells of lost samples before it.
  void add(const Sample& sample, bool missing);
  void clear();
  // What is left of a turn's vent is the rest before the next.
  void take_over(Trace vent);
  void shift(std::chrono::milliseconds by);
  [[nodiscard]] const Trace& trace() const { return trace_; }
  [[nodiscard]] bool empty() const { return trace_.points.empty(); }

  // Without a pump flag: the pressure of a line has left its resting level.
  [[nodiscard]] bool left_by(const Sample& sample) const;

  struct Onset {
    std::size_t first = 0;      // the rest's points from here on are the run's
    bool edged = false;         // the first of them, or the sample itself, is the first after the pump's start
    std::int64_t beat_ms = 0;   // spacing of samples about it; 0: not known
  };
  // Without a pump flag: where in the rest the run began that `sample` shows to be going on.
  [[nodiscard]] Onset onset(const Sample& sample) const;

  bool operator==(const Rest&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(trace_, fast_since_, line_since_, gap_ms_, gap_before_ms_);
  }

 private:
  void follow_rate(const Sample& sample, bool missing);
  void follow_line(const Sample& sample);
  void keep_bounds();
  [[nodiscard]] bool beside_mark(std::size_t i) const;
  [[nodiscard]] std::size_t at_or_after(Time time) const;

  Trace trace_;
  std::optional<Time> fast_since_;  // first sample at the rate that lasts until now, after slower ones
  std::optional<Time> line_since_;  // first sample with the line that is selected now, after another
  std::int64_t gap_ms_ = 0;         // between the last two samples
  std::int64_t gap_before_ms_ = 0;  // and the two before
};

}  // namespace driftline::cycles
