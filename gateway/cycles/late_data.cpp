#include "gateway/cycles/late_data.h"

#include <algorithm>
#include <tuple>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

bool holds(const Hole& hole, Time time) {
  return time < hole.after.sample.time && (!hole.before || time > hole.before->sample.time);
}

}  // namespace

bool LateData::in_hole(Time time) const {
  return std::any_of(holes.begin(), holes.end(), [&](const Hole& hole) { return holds(hole, time); });
}

void LateData::give_up(Hole& hole, Habits& habits, std::vector<HalfCycle>& out) {
  if (hole.cut) tell(*hole.cut, habits, out);
  if (hole.ended_turn) tell(*hole.ended_turn, habits, out);
  hole.cut.reset();
  hole.ended_turn.reset();
}

void LateData::take(const HeldSample& held, const ControllerSettings& settings, Habits& habits, Lane& live,
                    std::vector<HalfCycle>& out) {
  const Insertion insertion = window_.insert(held);
  if (insertion != Insertion::held) {
    ++(insertion == Insertion::doubled ? counts_.doubled : counts_.behind);
    return;
  }
  last_received_ = held.received;
  fold(window_.release(held.received, lateness_s), settings, habits, live, out);
}

SampleCounts LateData::counts() const {
  SampleCounts out = counts_;
  out.held = window_.size();
  return out;
}

void LateData::start_filling(const Hole& hole, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out) {
  lane_ = Lane{};
  filling_ = hole.after.sample.time;
  if (!hole.before) return;
  if (hole.cut) {
    lane_.resume(*hole.cut, *hole.before);
  } else if (!hole.bridged && !hole.before->sample.pump.value_or(false)) {
    static_cast<void>(lane_.step(*hole.before, settings, habits, out, nullptr));
  }
}

void LateData::fold(std::span<const HeldSample> due, const ControllerSettings& settings, Habits& habits, Lane& live,
                    std::vector<HalfCycle>& out) {
  for (HeldSample held : due) {
    const auto hole_of = [&] {
      return std::find_if(holes.begin(), holes.end(), [&](const Hole& h) { return holds(h, held.sample.time); });
    };
    auto hole = hole_of();
    if (hole != holes.end() && filling_ && *filling_ != hole->after.sample.time) {
      end_filling(settings, habits, live, out);
      hole = hole_of();
    }
    if (hole == holes.end()) {
      ++counts_.behind;
      continue;
    }
    if (!filling_) {
      start_filling(*hole, settings, habits, out);
      hole->cut.reset();
    }
    held.late = true;
    ++(lane_.step(held, settings, habits, out, nullptr) ? counts_.used : counts_.doubled);
  }
}

void LateData::end_filling(const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out) {
  const auto hole = std::find_if(holes.begin(), holes.end(), [&](const Hole& h) { return h.after.sample.time == *filling_; });
  filling_.reset();
  if (hole == holes.end()) {
    lane_ = Lane{};
    return;
  }
  const Time at = hole->after.sample.time;
  const Turn* run = lane_.open_run();
  if (run != nullptr && hole->bridged) {
    lane_.drop_run();  // the live lane has this turn already
  } else if (run != nullptr && hole->ended_turn) {
    tell(joined(*run, *hole->ended_turn), habits, out);
    hole->ended_turn.reset();
    lane_.drop_run();
  } else if (run != nullptr && live.put_before(*run, at)) {
    lane_.drop_run();
  } else if (run != nullptr && hole->run_after) {
    lane_.drop_run();  // told already, with a start that was known well enough
  } else if (run != nullptr) {
    static_cast<void>(lane_.step(hole->after, settings, habits, out, nullptr));
  } else if (!lane_.rest().points.empty()) {
    // At rest before the turn that came out of the hole: now its start is known.
    if (hole->ended_turn) {
      hole->ended_turn->rest = lane_.rest();
      hole->ended_turn->head_missing = false;
    } else {
      static_cast<void>(live.put_rest_before(lane_.rest(), at));
    }
  }
  lane_.finish(habits, out);
  if (hole->ended_turn) tell(*hole->ended_turn, habits, out);
  holes.erase(hole);
  lane_ = Lane{};
}

std::optional<Time> LateData::wake_at() const {
  std::optional<Time> wake = window_.wake_at(lateness_s);
  const auto earlier = [&](Time time) {
    if (!wake || time < *wake) wake = time;
  };
  if (filling_) earlier(later_by_s(last_received_, late_quiet_s));
  for (const Hole& hole : holes) earlier(later_by_s(hole.noticed, hole_kept_s));
  return wake;
}

void LateData::advance_to(Time now, const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out) {
  fold(window_.release(now, lateness_s), settings, habits, live, out);
  if (filling_ && now >= later_by_s(last_received_, late_quiet_s)) end_filling(settings, habits, live, out);
  while (!holes.empty() && now >= later_by_s(holes.front().noticed, hole_kept_s)) {
    if (filling_ == holes.front().after.sample.time) {
      end_filling(settings, habits, live, out);
    } else {
      give_up(holes.front(), habits, out);
      holes.erase(holes.begin());
    }
  }
}

void LateData::keep_bounds(Habits& habits, std::vector<HalfCycle>& out) {
  const auto worth = [&](const Hole& hole) {  // a lost sample at rest makes a hole too, which nothing will fill
    const auto length = hole.before ? (hole.after.sample.time - hole.before->sample.time).count() : 0;
    return std::tuple(filling_ == hole.after.sample.time, hole.cut || hole.ended_turn, length);
  };
  while (holes.size() > holes_max) {
    const auto least = std::min_element(holes.begin(), holes.end(), [&](const Hole& a, const Hole& b) { return worth(a) < worth(b); });
    give_up(*least, habits, out);
    holes.erase(least);
  }
}

void LateData::clock_moved(Habits& habits, std::vector<HalfCycle>& out) {
  for (Hole& hole : holes) give_up(hole, habits, out);
  holes.clear();
  lane_.finish(habits, out);
  lane_ = Lane{};
  filling_.reset();
  counts_.behind += window_.size();
  window_ = ReorderWindow{};
}

void LateData::finish(const ControllerSettings& settings, Habits& habits, Lane& live, std::vector<HalfCycle>& out) {
  fold(window_.release_all(), settings, habits, live, out);
  if (filling_) end_filling(settings, habits, live, out);
  for (Hole& hole : holes) give_up(hole, habits, out);
  holes.clear();
}

}  // namespace driftline::cycles
