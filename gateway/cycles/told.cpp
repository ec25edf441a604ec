// From a turn to its half-cycle.
#include <algorithm>
#include <cmath>

#include "gateway/cycles/crossing.h"
#include "gateway/cycles/rise_shape.h"
#include "gateway/cycles/turn.h"
#include "gateway/cycles/vent_crossing.h"

namespace driftline::cycles {
namespace {

double rounded(double value) { return std::round(value * 1000.0) / 1000.0; }

double median(std::vector<double> values) {
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

// What the line held at rest: the last samples that agree with the last one.
std::optional<double> rest_level(const Trace& rest, int line) {
  std::vector<double> bars;
  for (std::size_t i = rest.points.size(); i-- > 0 && bars.size() < 9;) {
    const auto bar = rest.bar_of(i, line);
    if (!bar) continue;
    if (!bars.empty() && std::abs(*bar - bars.front()) > 1.2) break;
    bars.push_back(*bar);
  }
  if (bars.empty()) return std::nullopt;
  return median(bars);
}

struct Reading {  // one line of a turn, on the time axis of its run
  std::vector<LinePoint> run;
  std::vector<LinePoint> vent;
  double last_on = 0;
  std::optional<LinePoint> first_off;
  double interval = 0;
  std::optional<double> residual;
};

double usual_interval(const std::vector<LinePoint>& run) {
  std::vector<double> gaps;
  for (std::size_t i = 1; i < run.size() && gaps.size() < 12; ++i) gaps.push_back(run[i].at_s - run[i - 1].at_s);
  return gaps.empty() ? 0.0 : median(gaps);
}

Reading read(const Turn& turn, int line) {
  Reading out;
  out.run = line_of(turn.run, line);
  out.vent = line_of(turn.vent, line);
  const double shift = seconds_between(turn.run.base, turn.vent.base);
  for (LinePoint& p : out.vent) p.at_s += shift;
  out.last_on = turn.run.points.back().at_ms / 1000.0;
  if (turn.venting()) out.first_off = LinePoint{shift, out.vent.empty() ? 0.0 : out.vent.front().bar};
  out.interval = turn.beat_ms > 0 ? static_cast<double>(turn.beat_ms) / 1000.0 : usual_interval(out.run);
  if (out.interval <= 0) out.interval = turn.interval_ms > 0 ? static_cast<double>(turn.interval_ms) / 1000.0 : 5.0;
  out.residual = rest_level(turn.rest, line);
  return out;
}

// Some senders add a sample at the pump's edges; it shows by coming off the beat.
bool off_beat(double gap, const Reading& r) { return r.run.size() >= 4 && gap < 0.85 * r.interval; }

// Stamps cut to whole seconds make an edge up to a second early.
bool whole_seconds(const Turn& turn) {
  if (turn.run.base.time_since_epoch().count() % 1000 != 0) return false;
  return std::all_of(turn.run.points.begin(), turn.run.points.end(), [](const TracePoint& p) { return p.at_ms % 1000 == 0; });
}

void learn_edges(Habits& habits, const Turn& turn, const Reading& r) {
  if (!turn.start_edged || r.run.size() < 4) return;
  habits.start_edges += 0.15F * ((off_beat(r.run[1].at_s - r.run[0].at_s, r) ? 1.0F : 0.0F) - habits.start_edges);
  if (!r.first_off || !turn.pump_given) return;
  habits.stop_edges += 0.15F * ((off_beat(r.first_off->at_s - r.last_on, r) ? 1.0F : 0.0F) - habits.stop_edges);
}

// Grease may be forced into a line after its last sample at rest. Where the sender adds a sample at the pump's start, that one shows it.
std::optional<double> held_at_start(const Turn& turn, const Reading& r, const Habits& habits) {
  constexpr double rest_noise_bar = 5;  // and what the pump does within the time of that sample
  if (!turn.pump_given || turn.head_missing || !turn.start_edged || turn.missing_before > 0 || whole_seconds(turn)) return std::nullopt;
  const bool at_start = habits.start_edges > 0.5F && r.run.size() >= 4 && off_beat(r.run[1].at_s - r.run[0].at_s, r);
  if (!at_start || !r.residual || r.run.front().bar < *r.residual + rest_noise_bar) return std::nullopt;
  return r.run.front().bar;
}

StartEstimate start_of(const Turn& turn, const Reading& r, LineHabit& habit, const Habits& habits) {
  const double since_rest = turn.rest.points.empty() ? 1e9 : seconds_between(turn.rest.time_of(turn.rest.points.size() - 1), turn.run.base);
  // Without a pump flag the fast rate marks the start as well.
  const bool edged = turn.start_edged || since_rest >= 2.5 * r.interval;
  const bool edge = turn.missing_before == 0 && (habits.start_edges > 0.5F || (r.run.size() >= 4 && off_beat(r.run[1].at_s - r.run[0].at_s, r)));
  if (edged && edge) return {0.01, whole_seconds(turn) ? 0.3 : 0.03};
  double window = r.interval * (1 + turn.missing_before);
  if (!edged) window = 2.0 * r.interval;
  window = std::min(window, since_rest);
  std::vector<RisePoint> points;
  const double residual = r.residual.value_or(0.0);
  const double enough = 0.45 * turn.settings.target_bar.value_or(200.0);
  for (const LinePoint& p : r.run) {
    if (points.size() >= 6) break;
    points.push_back({p.at_s - r.run.front().at_s, p.bar - residual});
    if (points.size() >= 3 && p.bar - residual > enough) break;
  }
  StartEstimate start = edged ? estimate_start(habit.start, points, r.interval, window)
                                         : extrapolate_start(points, r.interval, window);
  start.before_first_s -= r.run.front().at_s;
  return start;
}

void blend(std::optional<double>& habit, double value, double share) {
  habit = habit ? *habit + share * (value - *habit) : value;
}

void learn_run_on(LineHabit& habit, const Turn& turn, const Reading& r, double crossing) {
  if (!turn.pump_given || !r.first_off) return;
  double run_on = habit.run_on_s.value_or(0.3);
  const double least = r.last_on - crossing;
  const double most = r.first_off->at_s - crossing;
  if (least > run_on) run_on += 0.2 * (std::min(least, 3.0) - run_on);
  if (most < run_on) run_on += 0.2 * (std::max(most, 0.0) - run_on);
  habit.run_on_s = run_on;
}

// A stop without a target met: the pump limit, if it falls where the samples allow; else between them.
double stop_unmet(const Turn& turn, const Reading& r, double start) {
  const double first_off = r.first_off ? r.first_off->at_s : r.last_on;
  if (r.first_off && off_beat(first_off - r.last_on, r)) return first_off;
  if (turn.settings.pump_limit_s) {
    const double limit = start + *turn.settings.pump_limit_s;
    if (limit >= r.last_on - 1.0 && limit <= first_off + 1.0) return std::clamp(limit, r.last_on, std::max(r.last_on, first_off));
  }
  return 0.5 * (r.last_on + first_off);
}

void tell_vent(HalfCycle& half, const Turn& turn, const Reading& r, LineHabit& habit, double stop) {
  if (!turn.settings.residual_bar || r.vent.empty()) return;
  double floor = habit.floor_bar.value_or(half.residual_bar.value_or(0.0));
  double lowest = 1e9;
  for (const LinePoint& p : r.vent) lowest = std::min(lowest, p.bar);
  half.vent_floor_bar = rounded(lowest);
  floor = std::min(floor, lowest);
  if (const auto crossing = vent_crossing(r.vent, stop, *turn.settings.residual_bar, floor)) {
    if (crossing->at_s > stop) half.vent_s = rounded(crossing->at_s - stop);
  }
}

// Turns come a share of the cycle apart. One that comes earlier was started by hand or tries again after a failure; the
// schedule begins anew when the pump was off for long, or when turns keep coming at the new beat.
bool astray(Habits& habits, const Turn& turn, Time start) {
  const auto& settings = turn.settings;
  if (!settings.cycle_s) return false;
  const double share = *settings.cycle_s / std::max(1, settings.lines.value_or(1));
  const double slack = std::max(15.0, 0.05 * share);
  const auto in_beat = [&](const std::optional<Time>& from) {
    if (!from) return false;
    const double since = seconds_between(*from, start);
    const double beats = std::round(since / share);
    return beats >= 1 && std::abs(since - beats * share) <= slack;
  };
  if (habits.due_from && start < *habits.due_from) return false;  // late data: older than what the beat is told by
  const bool due = !habits.due_from || in_beat(habits.due_from) || seconds_between(*habits.due_from, start) > 0.95 * share ||
                   in_beat(habits.astray_from);
  (due ? habits.due_from : habits.astray_from) = start;
  if (due) habits.astray_from.reset();
  return !due;
}

void tell_others(HalfCycle& half, const Turn& turn) {
  for (int line = 1; line <= lines_max; ++line) {
    const auto at = static_cast<std::size_t>(line - 1);
    half.others_start_bar[at] = rest_level(turn.rest, line);
    for (std::size_t i = turn.run.points.size(); i-- > 0;) {
      const auto bar = turn.run.bar_of(i, line);
      if (!bar) continue;
      half.others_stop_bar[at] = rounded(*bar);
      break;
    }
    if (half.others_start_bar[at]) half.others_start_bar[at] = rounded(*half.others_start_bar[at]);
  }
}

}  // namespace

LineHabit& Habits::of_line(int line) {
  const auto at = static_cast<std::size_t>(line - 1);
  if (lines.size() <= at) lines.resize(at + 1);
  return lines[at];
}

int line_served(const Turn& turn) {
  if (turn.line) return *turn.line;
  int best = 1;
  double most = -1e9;
  for (int line = 1; line <= lines_max; ++line) {
    const auto points = line_of(turn.run, line);
    if (points.empty()) continue;
    const double from = rest_level(turn.rest, line).value_or(points.front().bar);
    double top = -1e9;
    for (const LinePoint& p : points) top = std::max(top, p.bar);
    if (top - from > most) {
      most = top - from;
      best = line;
    }
  }
  return best;
}

HalfCycle told(const Turn& turn, Habits& habits) {
  HalfCycle half;
  half.line = line_served(turn);
  LineHabit& habit = habits.of_line(half.line);
  half.settings = turn.settings;
  half.level_pct = turn.level_pct;
  half.temp_c = turn.temp_c;
  half.samples = turn.samples;
  half.largest_gap_s = static_cast<double>(turn.largest_gap_ms) / 1000.0;
  half.clock_stepped = turn.clock_stepped;
  half.arrival = turn.late ? Arrival::late : Arrival::live;
  Reading r = read(turn, half.line);
  if (const auto held = held_at_start(turn, r, habits)) r.residual = held;
  const double first_off = r.first_off ? r.first_off->at_s : r.last_on;
  if (r.residual) half.residual_bar = rounded(*r.residual);
  half.pump_start = turn.run.base;
  half.pump_stop = later_by_s(turn.run.base, 0.5 * (r.last_on + first_off));
  if (r.run.empty()) return half;

  learn_edges(habits, turn, r);
  const StartEstimate before = start_of(turn, r, habit, habits);
  const double start = -before.before_first_s;
  const double limit = turn.settings.pump_limit_s.value_or(1e9);
  const double target = turn.settings.target_bar.value_or(1e9);
  auto crossing = target_crossing(r.run, r.first_off, target, r.interval, habit.steep_bar_per_s, whole_seconds(turn) ? 1.0 : 0.0,
                                  first_off < start + limit - 1.0 - before.error_s);
  if (crossing && crossing->at_s > start + limit + 0.1) crossing.reset();
  double peak = -1e9;
  for (const LinePoint& p : r.run) peak = std::max(peak, p.bar);
  if (!r.vent.empty()) peak = std::max(peak, r.vent.front().bar);
  double stop = 0;
  const bool unsure_end = (turn.tail_missing || first_off - r.last_on > std::max(4.0 * r.interval, 15.0)) && !turn.restarted;
  if (crossing && !(unsure_end && r.run.back().bar < target)) {
    learn_run_on(habit, turn, r, crossing->at_s);
    const double run_on = habit.run_on_s.value_or(0.3);
    stop = crossing->at_s + run_on;
    if (r.first_off) stop = std::clamp(stop, r.last_on, std::max(r.last_on, first_off));
    peak = std::max(peak, target + crossing->slope * std::min(run_on, stop - crossing->at_s));
    if (crossing->slope > 0) blend(habit.steep_bar_per_s, crossing->slope, 0.2);
    half.outcome = Outcome::reached;
    if (!turn.head_missing) {
      half.time_to_pressure_s = rounded(crossing->at_s - start);
      half.time_to_pressure_error_s = rounded(std::hypot(before.error_s, crossing->error_s));
    }
  } else {
    stop = stop_unmet(turn, r, start);
    const bool full = stop - start >= limit - 1.0 - 2.0 * before.error_s - 0.5 * (first_off - r.last_on);
    half.outcome = full ? Outcome::not_reached : unsure_end ? Outcome::unclear : Outcome::interrupted;
  }
  half.peak_bar = rounded(peak);
  half.pump_start = later_by_s(turn.run.base, start) - std::chrono::milliseconds{turn.stepped_ms};
  half.pump_stop = later_by_s(turn.run.base, stop);
  if (!turn.head_missing) half.pump_run_s = rounded(stop - start);
  tell_vent(half, turn, r, habit, stop);
  tell_others(half, turn);
  half.off_schedule = astray(habits, turn, half.pump_start);
  if (!turn.head_missing) {
    const double end = half.outcome == Outcome::reached ? std::min(crossing->at_s, stop) : stop;
    const double end_bar = half.outcome == Outcome::reached ? std::max(target, r.run.back().bar) : r.run.back().bar;
    half.shape = rise_shape(r.run, {start, end, r.residual.value_or(r.run.front().bar), end_bar, turn.settings.target_bar});
  }
  if (half.residual_bar && half.outcome == Outcome::reached) {
    if (!habit.floor_bar || *half.residual_bar < *habit.floor_bar) {
      habit.floor_bar = half.residual_bar;
    } else {
      blend(habit.floor_bar, *half.residual_bar, 0.1);
    }
  }
  return half;
}

void tell(const Turn& turn, Habits& habits, std::vector<HalfCycle>& out) {
  HalfCycle half = told(turn, habits);
  const bool unmet = half.outcome == Outcome::interrupted || half.outcome == Outcome::unclear;
  const bool pushed = !turn.pump_given && unmet &&
                      half.peak_bar.value_or(0.0) < std::max(20.0, 0.15 * turn.settings.target_bar.value_or(0.0));
  if (!pushed) out.push_back(std::move(half));
}

}  // namespace driftline::cycles
