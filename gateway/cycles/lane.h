// Ordered samples of one station to turns.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "gateway/cycles/reorder_window.h"
#include "gateway/cycles/rest.h"
#include "gateway/cycles/turn.h"
#include "rules/records/half_cycle.h"

namespace driftline::cycles {

// A stretch the stream did not cover, and what it cut.
struct Hole {
  std::optional<HeldSample> before;  // last sample before it; empty once it was used
  HeldSample after;                  // first sample behind it
  std::optional<Turn> cut;           // the turn that was going on when the samples stopped
  std::optional<Turn> ended_turn;          // the turn that was going on when they came back, since ended
  bool run_after = false;            // a turn was told to begin with the first sample behind it
  bool bridged = false;              // one turn goes on over it: it was not cut
  Time noticed{};                    // received
  bool operator==(const Hole&) const = default;
};

class Lane {
 public:
  // Samples in event-time order. Finished turns are appended to `out`; a hole in the stream to `holes`, if given, with
  // the turn it cut, which is then not in `out`. False: the sample before said the same time and seq; not used.
  bool step(const HeldSample& held, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out,
            std::vector<Hole>* holes);
  // The gateway's clock has reached `now` and nothing else came.
  void advance_to(Time now, Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes);
  [[nodiscard]] std::optional<Time> wake_at() const;
  void finish(Habits& habits, std::vector<HalfCycle>& out);
  [[nodiscard]] bool turn_open() const { return turn_.has_value(); }

  // Where lanes meet. `resume` takes up a turn that was cut. `open_run` is the run still going on, if any. `put_before`
  // makes `earlier` the beginning of the turn that came out of the hole ending at `at`, `put_rest_before` makes `rest` its
  // rest; false: no such turn is open.
  void resume(Turn turn, const HeldSample& last);
  [[nodiscard]] const Turn* open_run() const { return turn_ && !turn_->venting() ? &*turn_ : nullptr; }
  void drop_run() { turn_.reset(); }
  [[nodiscard]] bool put_before(const Turn& earlier, Time at);
  [[nodiscard]] bool put_rest_before(const Trace& rest, Time at);
  [[nodiscard]] const Trace& rest() const { return rest_.trace(); }

  bool operator==(const Lane&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(rest_, turn_, pump_, last_time_, last_seq_, last_received_, level_pct_, temp_c_, rest_gap_ms_, last_);
  }

 private:
  [[nodiscard]] bool pumping(const Sample& sample) const;
  [[nodiscard]] bool another_rises(const Sample& sample) const;
  [[nodiscard]] bool rise_ends(const Sample& sample) const;
  [[nodiscard]] bool handed_over(const Sample& sample) const;
  void begin(const HeldSample& held, const ControllerSettings& settings);
  void go_on(const HeldSample& held);
  [[nodiscard]] int missing_before(const HeldSample& held) const;
  [[nodiscard]] bool vent_settled() const;
  [[nodiscard]] bool is_hole(const Sample& sample, bool restart) const;
  [[nodiscard]] bool same_run(const HeldSample& held) const;
  void cross_hole(const HeldSample& held, bool restart, Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes);
  void learn_rest_gap(const Sample& sample, bool holed);
  void move_clock(const HeldSample& held);
  void close(Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes);

  Rest rest_;
  std::optional<Turn> turn_;
  std::optional<bool> pump_;    // as last given; empty: never given
  std::optional<Time> last_time_;
  std::optional<std::uint64_t> last_seq_;
  Time last_received_{};
  std::optional<double> level_pct_;
  std::optional<double> temp_c_;
  std::int64_t rest_gap_ms_ = 0;    // longest usual spacing at rest
  std::optional<HeldSample> last_;
};

// `later` put behind `earlier`: one turn.
[[nodiscard]] Turn joined(Turn earlier, const Turn& later);

}  // namespace driftline::cycles
