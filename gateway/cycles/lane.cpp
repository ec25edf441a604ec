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

}  // namespace

bool Lane::rise_begins(const Sample& sample) const {
  if (rest_.points.empty()) return false;
  for (int line = 1; line <= sample.pressure.lines; ++line) {
    const auto bar = sample.pressure.of_line(line);
    if (!bar) continue;
    double lowest = 1e9;
    const std::size_t n = rest_.points.size();
    for (std::size_t i = n - std::min<std::size_t>(n, 3); i < n; ++i) lowest = std::min(lowest, rest_.bar_of(i, line).value_or(1e9));
    if (lowest < 1e8 && *bar > lowest + noise_bar) return true;
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
  if (turn_ && !turn_->venting()) return !rise_ends(sample);
  return rise_begins(sample);
}

void Lane::keep_rest(const Sample& sample) {
  rest_.add(sample);
  if (rest_.points.size() >= 2 * rest_samples_kept) {
    rest_.points.erase(rest_.points.begin(), rest_.points.end() - static_cast<std::ptrdiff_t>(rest_samples_kept));
    const auto shift = rest_.points.front().at_ms;
    rest_.base += std::chrono::milliseconds{shift};
    for (TracePoint& p : rest_.points) p.at_ms -= shift;
  }
}

void Lane::begin(const HeldSample& held, const ControllerSettings& settings) {
  Turn turn;
  turn.rest = rest_;
  turn.pump_given = held.sample.pump.has_value();
  turn.line = held.sample.line;
  turn.settings = settings;
  turn.level_pct = level_pct_;
  turn.temp_c = temp_c_;
  turn.start_edged = turn.pump_given;
  turn.head_missing = rest_.points.empty();
  if (held.sample.seq && last_seq_ && *held.sample.seq > *last_seq_) {
    turn.missing_before = static_cast<int>(std::min<std::uint64_t>(*held.sample.seq - *last_seq_ - 1, 1000));
  }
  turn.run.add(held.sample);
  turn.samples = 1;
  turn_ = turn;
  rest_.clear();
}

void Lane::go_on(const HeldSample& held) {
  const auto gap = (held.sample.time - *last_time_).count();
  turn_->largest_gap_ms = std::max(turn_->largest_gap_ms, gap);
  if (gap > 0 && (turn_->interval_ms == 0 || gap < turn_->interval_ms)) turn_->interval_ms = gap;
  turn_->run.add(held.sample);
  ++turn_->samples;
  if (held.sample.line) turn_->line = held.sample.line;
}

bool Lane::vent_settled() const {
  const Turn& turn = *turn_;
  const int line = line_served(turn);
  const std::size_t n = turn.vent.points.size();
  const double after_s = turn.vent.points.back().at_ms / 1000.0;
  if (after_s > vent_watched_s) return true;
  if (!turn.settings.residual_bar || n < 3) return false;
  int below = 0;
  for (std::size_t i = 0; i < n; ++i) below += turn.vent.bar_of(i, line).value_or(1e9) < *turn.settings.residual_bar ? 1 : 0;
  return below >= 4;
}

void Lane::close(Habits& habits, std::vector<HalfCycle>& out) {
  const int line = line_served(*turn_);
  out.push_back(told(*turn_, habits.line[static_cast<std::size_t>(line - 1)]));
  rest_ = turn_->vent;
  if (rest_.points.size() > rest_samples_kept) {
    rest_.points.erase(rest_.points.begin(), rest_.points.end() - static_cast<std::ptrdiff_t>(rest_samples_kept));
    rest_.points.shrink_to_fit();
  }
  turn_.reset();
}

void Lane::step(const HeldSample& held, const ControllerSettings& settings, Habits& habits, std::vector<HalfCycle>& out) {
  const Sample& sample = held.sample;
  if (sample.level_pct) level_pct_ = sample.level_pct;
  if (sample.temp_c) temp_c_ = sample.temp_c;
  const bool restart = sample.seq && last_seq_ && *sample.seq + 1000 < *last_seq_ && *sample.seq < 1000;
  if (turn_ && restart) turn_->restarted = true;
  if (turn_ && restart && !turn_->venting()) close(habits, out);
  const bool on = pumping(sample);
  if (!turn_) {
    if (on) {
      begin(held, settings);
    } else {
      keep_rest(sample);
    }
  } else if (!turn_->venting()) {
    if (on) {
      go_on(held);
    } else {
      turn_->largest_gap_ms = std::max(turn_->largest_gap_ms, (sample.time - *last_time_).count());
      turn_->vent.add(sample);
    }
  } else if (on) {
    close(habits, out);
    begin(held, settings);
  } else {
    turn_->vent.add(sample);
    if (vent_settled()) close(habits, out);
  }
  if (sample.pump) pump_ = sample.pump;
  last_time_ = sample.time;
  if (sample.seq) last_seq_ = sample.seq;
  last_received_ = held.received;
}

std::optional<Time> Lane::wake_at() const {
  if (!turn_ || !turn_->venting()) return std::nullopt;
  return later_by_s(last_received_, vent_quiet_s);
}

void Lane::advance_to(Time now, Habits& habits, std::vector<HalfCycle>& out) {
  const auto wake = wake_at();
  if (wake && now >= *wake) close(habits, out);
}

void Lane::finish(Habits& habits, std::vector<HalfCycle>& out) {
  if (turn_) {
    turn_->tail_missing = !turn_->venting();
    close(habits, out);
  }
}

}  // namespace driftline::cycles
