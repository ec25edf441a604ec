#include "gateway/cycles/lane.h"

#include <algorithm>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

// A rise or fall smaller than this is noise. Gauges of such stations are quantised to 0.1 to 0.5 bar.
constexpr double noise_bar = 2.0;

double highest(const Trace& trace, int line) {
  double top = -1e9;
  for (std::size_t i = 0; i < trace.points.size(); ++i) top = std::max(top, trace.bar_of(i, line).value_or(-1e9));
  return top;
}

// Without a pump flag the stop shows only in the fall: the samples behind the highest, and the highest itself if the
// rise carried on would have met the target before it, belong to the vent.
void cut_run(Turn& turn) {
  const int line = line_served(turn);
  auto& points = turn.run.points;
  std::size_t top = 0;
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (turn.run.bar_of(i, line).value_or(-1e9) >= turn.run.bar_of(top, line).value_or(-1e9)) top = i;
  }
  std::size_t keep = top + 1;
  const double target = turn.settings.target_bar.value_or(1e9);
  if (const double highest_bar = turn.run.bar_of(top, line).value_or(0.0); highest_bar < 0.97 * target && top >= 3 &&
      highest_bar - turn.run.bar_of(top - 3, line).value_or(0.0) < std::max(3.0, 0.04 * highest_bar)) {
    // Held below the target: noise makes the highest, so the last that is no lower than noise is the last pumping.
    for (std::size_t i = top; i < points.size(); ++i) {
      if (turn.run.bar_of(i, line).value_or(-1e9) > highest_bar - std::max(1.5, 0.02 * highest_bar)) keep = i + 1;
    }
  }
  if (top >= 3 && turn.run.bar_of(top, line).value_or(0.0) >= 0.9 * target) {
    const auto at = [&](std::size_t i) { return points[i].at_ms / 1000.0; };
    const auto bar = [&](std::size_t i) { return turn.run.bar_of(i, line).value_or(0.0); };
    const double slope = (bar(top - 1) - bar(top - 2)) / std::max(0.02, at(top - 1) - at(top - 2));
    const double met = slope > 0.05 ? at(top - 1) + (target - bar(top - 1)) / slope : 1e9;
    if (met + 0.3 < at(top) && bar(top - 1) < target) keep = top;
  }
  for (std::size_t i = keep; i < points.size(); ++i) turn.vent.add(turn.run.time_of(i), points[i]);
  turn.samples -= static_cast<int>(points.size() - keep);
  points.resize(keep);
}

}  // namespace

// A line other than the one that vents: its turn has begun before the vent was over. On the line that vents itself a rise
// is more likely a disturbance.
bool Lane::another_rises(const Sample& sample) const {
  const int vents = line_served(*turn_);
  const Trace& before = turn_->vent;
  const std::size_t n = before.points.size();
  const double rise = std::max(noise_bar, 0.05 * turn_->settings.target_bar.value_or(0.0));
  for (int line = 1; line <= sample.pressure.lines; ++line) {
    const auto bar = sample.pressure.of_line(line);
    if (line == vents || !bar) continue;
    double lowest = 1e9;
    for (std::size_t i = n - std::min<std::size_t>(n, 8); i < n; ++i) lowest = std::min(lowest, before.bar_of(i, line).value_or(1e9));
    if (lowest < 1e8 && *bar > lowest + rise) return true;
  }
  return false;
}

bool Lane::rise_ends(const Sample& sample) const {
  const int line = line_served(*turn_);
  const auto bar = sample.pressure.of_line(line);
  if (!bar) return false;
  const double top = highest(turn_->run, line);
  const double target = turn_->settings.target_bar.value_or(1e9);
  const double fall = top >= 0.97 * target ? noise_bar : std::max(6.0, 0.2 * top);
  return *bar < top - fall;
}

bool Lane::pumping(const Sample& sample) const {
  if (sample.pump) return *sample.pump;
  if (pump_) return *pump_;
  if (turn_ && !turn_->venting()) return !rise_ends(sample) && !handed_over(sample);
  return turn_ ? another_rises(sample) : rest_.left_by(sample);
}

// The changeover to another line after this one has risen: the run is over, though the first sample after a steep end may
// still read higher than the last before it. Before that, `line` only came late to its own turn.
bool Lane::handed_over(const Sample& sample) const {
  if (!sample.line || !turn_->line || *sample.line == *turn_->line) return false;
  return highest(turn_->run, *turn_->line) > 0.5 * turn_->settings.target_bar.value_or(1e9);
}

int Lane::missing_before(const HeldSample& held) const {
  if (!held.sample.seq || !last_seq_ || *held.sample.seq <= *last_seq_) return 0;
  return static_cast<int>(std::min<std::uint64_t>(*held.sample.seq - *last_seq_ - 1, 1000));
}

void Lane::begin(const HeldSample& held, const ControllerSettings& settings) {
  Turn turn;
  turn.rest = rest_.trace();
  turn.pump_given = held.sample.pump.has_value();
  turn.line = held.sample.line;
  turn.settings = settings;
  turn.level_pct = level_pct_;
  turn.temp_c = temp_c_;
  turn.start_edged = turn.pump_given;
  turn.head_missing = rest_.empty();
  turn.missing_before = missing_before(held);
  if (!turn.pump_given) {
    const Rest::Onset from = rest_.onset(held.sample);
    turn.start_edged = from.edged;
    turn.beat_ms = from.beat_ms;
    const Trace& rest = rest_.trace();
    for (std::size_t i = from.first; i < rest.points.size(); ++i) turn.run.add(rest.time_of(i), rest.points[i]);
    turn.rest.points.resize(from.first);
    turn.samples = static_cast<int>(turn.run.points.size());
    turn.head_missing = from.first == 0;
    if (turn.samples > 0) turn.missing_before = 0;
  }
  turn.run.add(held.sample);
  ++turn.samples;
  turn_ = std::move(turn);
  rest_.clear();
}

void Lane::go_on(const HeldSample& held) {
  const auto gap = (held.sample.time - *last_time_).count();
  turn_->largest_gap_ms = std::max(turn_->largest_gap_ms, gap);
  if (gap > 0 && (turn_->interval_ms == 0 || gap < turn_->interval_ms)) turn_->interval_ms = gap;
  turn_->run.add(held.sample);
  ++turn_->samples;
  if (held.sample.line) turn_->line = held.sample.line;
  if (held.late) turn_->late = true;
}

bool Lane::vent_settled() const {
  const Turn& turn = *turn_;
  const int line = line_served(turn);
  const std::size_t n = turn.vent.points.size();
  const double after_s = turn.vent.points.back().at_ms / 1000.0;
  if (after_s > vent_watched_s) return true;
  if (!turn.settings.residual_bar || n < 3) return false;
  // Four samples below: counted from the end, where they are.
  int below = 0;
  for (std::size_t i = n; i-- > 0 && below < 4;) {
    if (turn.vent.bar_of(i, line).value_or(1e9) >= *turn.settings.residual_bar) {
      if (n - i > 8) break;
      continue;
    }
    ++below;
  }
  return below >= 4;
}

void Lane::close(Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes) {
  Turn turn = std::move(*turn_);
  turn_.reset();
  rest_.take_over(turn.vent);
  if (turn.after_hole && turn.head_missing && holes != nullptr) {
    for (Hole& hole : *holes) {
      if (hole.after.sample.time != turn.run.base || hole.ended_turn) continue;
      hole.ended_turn = std::move(turn);
      return;
    }
  }
  tell(turn, habits, out);
}

// Samples are missing, and late data might still bring them.
bool Lane::is_hole(const Sample& sample, bool restart) const {
  if (!last_time_ || sample.time <= *last_time_) return false;
  const auto gap = (sample.time - *last_time_).count();
  if (gap <= static_cast<std::int64_t>(1000 * lateness_s)) return false;
  if (restart) return true;
  if (sample.seq && last_seq_ && *sample.seq > *last_seq_) return *sample.seq - *last_seq_ > 1;
  if (turn_ && !turn_->venting()) return gap > 6 * std::max<std::int64_t>(turn_->interval_ms, 1000);
  return rest_gap_ms_ > 0 && 2 * gap > 5 * rest_gap_ms_;
}

bool Lane::same_run(const HeldSample& held) const {
  if (!pumping(held.sample)) return false;
  const double elapsed = seconds_between(turn_->run.base, held.sample.time);
  if (elapsed > turn_->settings.pump_limit_s.value_or(600.0) + 5.0) return false;
  if (held.sample.line && turn_->line && *held.sample.line != *turn_->line) return false;
  const int line = line_served(*turn_);
  const auto bar = held.sample.pressure.of_line(line);
  const auto was = turn_->run.bar_of(turn_->run.points.size() - 1, line);
  return !bar || !was || *bar > *was - 10.0;
}

void Lane::cross_hole(const HeldSample& held, bool restart, Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes) {
  Hole hole;
  hole.before = last_;
  hole.after = held;
  hole.noticed = held.received;
  if (turn_ && turn_->venting()) {
    close(habits, out, holes);
  } else if (turn_ && !restart && same_run(held)) {
    hole.bridged = true;
  } else if (turn_) {
    turn_->tail_missing = true;
    turn_->restarted = restart;
    if (holes != nullptr && !restart) {
      hole.cut = std::move(turn_);
      turn_.reset();
    } else {
      close(habits, out, holes);
    }
  }
  if (holes == nullptr) return;
  holes->push_back(std::move(hole));
}

// The station's clock was moved before this sample: what is kept is moved along, so that durations stay right.
void Lane::move_clock(const HeldSample& held) {
  if (!last_time_) return;
  std::int64_t by = held.step_ms;
  const std::int64_t spacing = (held.sample.time - *last_time_).count();
  if (turn_ && !turn_->venting() && turn_->interval_ms > 0) {
    std::int64_t steps = 1;
    if (held.sample.seq && last_seq_ && *held.sample.seq > *last_seq_) steps = static_cast<std::int64_t>(*held.sample.seq - *last_seq_);
    const std::int64_t exact = spacing - steps * turn_->interval_ms;
    if (std::abs(exact) < 500) return;  // the beat went on: it was the network, not the clock
    if (steps <= 20 && std::abs(exact - by) < 1500) by = exact;
  }
  const std::chrono::milliseconds shift{by};
  rest_.shift(shift);
  *last_time_ += shift;
  if (last_) last_->sample.time += shift;
  if (!turn_) return;
  if (!turn_->venting()) turn_->clock_stepped = true;
  turn_->stepped_ms += by;
  turn_->rest.base += shift;
  turn_->run.base += shift;
  turn_->vent.base += shift;
}

// The longest usual spacing at rest. A hole may be a new habit: it is believed by halves.
void Lane::learn_rest_gap(const Sample& sample, bool holed) {
  if (!last_time_ || (turn_ && !turn_->venting())) return;
  const std::int64_t gap = (sample.time - *last_time_).count();
  if (gap <= static_cast<std::int64_t>(1000 * lateness_s)) return;
  const std::int64_t believed = holed ? std::min(gap, 2 * rest_gap_ms_) : gap;
  rest_gap_ms_ = std::max(believed, rest_gap_ms_ - rest_gap_ms_ / 16);
}

bool Lane::step(const HeldSample& held, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out,
                std::vector<Hole>* holes) {
  const Sample& sample = held.sample;
  if (held.step_ms != 0) move_clock(held);
  if (last_time_ && sample.time == *last_time_ && sample.seq && sample.seq == last_seq_) return false;  // told twice, unlike
  if (sample.level_pct) level_pct_ = sample.level_pct;
  if (sample.temp_c) temp_c_ = sample.temp_c;
  const bool restart = sample.seq && last_seq_ && *sample.seq + 1 < *last_seq_ && held.step_ms == 0;
  bool holed = false;
  if (is_hole(sample, restart)) {
    holed = true;
    cross_hole(held, restart, habits, out, holes);
  } else if (turn_ && restart) {
    turn_->restarted = true;
    if (!turn_->venting()) close(habits, out, holes);
  }
  const bool on = pumping(sample);
  learn_rest_gap(sample, holed);
  if (!turn_) {
    if (on) {
      begin(held, settings);
      const bool unseen = holed && !restart && (!sample.seq || turn_->missing_before > missing_before_max);
      turn_->after_hole = holed && holes != nullptr;
      if (turn_->after_hole) holes->back().run_after = true;
      turn_->head_missing = turn_->head_missing || unseen;
    } else {
      rest_.add(sample, missing_before(held) > 0);
    }
  } else if (!turn_->venting()) {
    if (on) {
      go_on(held);
    } else {
      turn_->largest_gap_ms = std::max(turn_->largest_gap_ms, (sample.time - *last_time_).count());
      if (!turn_->pump_given) cut_run(*turn_);
      turn_->vent.add(sample);
    }
  } else if (on) {
    close(habits, out, holes);
    begin(held, settings);
  } else {
    turn_->vent.add(sample);
    if (vent_settled()) close(habits, out, holes);
  }
  if (turn_ && held.late) turn_->late = true;
  if (sample.pump) pump_ = sample.pump;
  last_time_ = sample.time;
  last_seq_ = sample.seq;
  last_received_ = held.received;
  last_ = held;
  return true;
}

void Lane::resume(Turn turn, const HeldSample& last) {
  turn.tail_missing = false;
  turn_ = std::move(turn);
  pump_ = last.sample.pump;
  last_time_ = last.sample.time;
  last_seq_ = last.sample.seq;
  last_received_ = last.received;
  last_ = last;
}

bool Lane::put_rest_before(const Trace& rest, Time at) {
  if (!turn_ || !turn_->after_hole || turn_->run.base != at) return false;
  turn_->rest = rest;
  turn_->head_missing = false;
  turn_->after_hole = false;
  return true;
}

bool Lane::put_before(const Turn& earlier, Time at) {
  if (!turn_ || !turn_->after_hole || turn_->run.base != at) return false;
  turn_ = joined(earlier, *turn_);
  return true;
}

Turn joined(Turn earlier, const Turn& later) {
  if (!earlier.run.points.empty() && !later.run.points.empty()) {
    const auto gap = (later.run.base - earlier.run.time_of(earlier.run.points.size() - 1)).count();
    earlier.largest_gap_ms = std::max({earlier.largest_gap_ms, later.largest_gap_ms, gap});
  }
  for (std::size_t i = 0; i < later.run.points.size(); ++i) earlier.run.add(later.run.time_of(i), later.run.points[i]);
  earlier.vent = later.vent;
  earlier.samples += later.samples;
  if (later.line) earlier.line = later.line;
  earlier.tail_missing = later.tail_missing;
  earlier.restarted = later.restarted;
  earlier.late = true;
  earlier.after_hole = false;
  return earlier;
}

std::optional<Time> Lane::wake_at() const {
  if (!turn_ || !turn_->venting()) return std::nullopt;
  return later_by_s(last_received_, vent_quiet_s);
}

void Lane::advance_to(Time now, Habits& habits, std::vector<HalfCycle>& out, std::vector<Hole>* holes) {
  const auto wake = wake_at();
  if (wake && now >= *wake) close(habits, out, holes);
}

void Lane::finish(Habits& habits, std::vector<HalfCycle>& out) {
  if (turn_) {
    turn_->tail_missing = !turn_->venting();
    close(habits, out, nullptr);
  }
}

}  // namespace driftline::cycles
