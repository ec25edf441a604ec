// From a turn to its half-cycle.
#include <algorithm>
#include <cmath>

#include "gateway/cycles/turn.h"

namespace driftline::cycles {
namespace {

double median(std::vector<double> values) {
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

std::optional<double> level_of(const Trace& trace, int line, std::size_t last) {
  std::vector<double> bars;
  for (std::size_t i = trace.points.size(); i-- > 0 && bars.size() < last;) {
    if (const auto bar = trace.bar_of(i, line)) bars.push_back(*bar);
  }
  if (bars.empty()) return std::nullopt;
  return median(bars);
}

double rounded(double value) { return std::round(value * 1000.0) / 1000.0; }

}  // namespace

int line_served(const Turn& turn) {
  if (turn.line) return *turn.line;
  int best = 1;
  double most = -1e9;
  for (int line = 1; line <= lines_max; ++line) {
    const auto points = line_of(turn.run, line);
    if (points.empty()) continue;
    const double from = level_of(turn.rest, line, 3).value_or(points.front().bar);
    double top = -1e9;
    for (const LinePoint& p : points) top = std::max(top, p.bar);
    if (top - from > most) {
      most = top - from;
      best = line;
    }
  }
  return best;
}

HalfCycle told(const Turn& turn, LineHabit& habit) {
  HalfCycle half;
  half.line = line_served(turn);
  half.settings = turn.settings;
  half.level_pct = turn.level_pct;
  half.temp_c = turn.temp_c;
  half.samples = turn.samples;
  half.largest_gap_s = static_cast<double>(turn.largest_gap_ms) / 1000.0;
  half.clock_stepped = turn.clock_stepped;
  half.arrival = turn.late ? Arrival::late : Arrival::live;
  const auto run = line_of(turn.run, half.line);
  const auto vent = line_of(turn.vent, half.line);
  const double last_on = turn.run.points.back().at_ms / 1000.0;
  const double vent_base = seconds_between(turn.run.base, turn.vent.base);
  const double first_off = turn.venting() ? vent_base : last_on;
  half.residual_bar = level_of(turn.rest, half.line, 3);
  half.pump_start = turn.run.base;
  half.pump_stop = later_by_s(turn.run.base, 0.5 * (last_on + first_off));
  if (run.empty()) return half;

  // Start: the first rise carried back to the residual pressure.
  const double interval = turn.interval_ms > 0 ? static_cast<double>(turn.interval_ms) / 1000.0 : 5.0;
  double start = -0.5 * interval;
  if (half.residual_bar && run.size() >= 2) {
    const double slope = (run[1].bar - run[0].bar) / std::max(0.05, run[1].at_s - run[0].at_s);
    if (slope > 0.3) start = run[0].at_s - (run[0].bar - *half.residual_bar) / slope;
  }
  double earliest = -interval;
  if (!turn.rest.points.empty()) {
    earliest = std::max(earliest, seconds_between(turn.run.base, turn.rest.time_of(turn.rest.points.size() - 1)));
  }
  start = std::clamp(start, earliest, 0.0);

  // Target: between the samples about it, or the last rise carried on.
  double peak = -1e9;
  for (const LinePoint& p : run) peak = std::max(peak, p.bar);
  if (!vent.empty()) peak = std::max(peak, vent.front().bar);
  std::optional<double> crossing;
  const double target = turn.settings.target_bar.value_or(1e9);
  for (std::size_t i = 0; i < run.size() && !crossing; ++i) {
    if (run[i].bar < target) continue;
    if (i == 0) {
      crossing = run[0].at_s;
    } else {
      crossing = run[i - 1].at_s + (target - run[i - 1].bar) * (run[i].at_s - run[i - 1].at_s) / (run[i].bar - run[i - 1].bar);
    }
  }
  if (!crossing && run.size() >= 2 && turn.venting()) {
    const LinePoint& a = run[run.size() - 2];
    const LinePoint& b = run.back();
    const double slope = (b.bar - a.bar) / std::max(0.05, b.at_s - a.at_s);
    if (slope > 0.05) {
      const double at = b.at_s + (target - b.bar) / slope;
      if (at <= first_off + 0.2 * interval) crossing = std::min(at, first_off);
    }
  }
  double stop = 0.5 * (last_on + first_off);
  if (crossing) {
    stop = turn.venting() ? std::clamp(*crossing + habit.run_on_s.value_or(0.3), last_on, std::max(last_on, first_off)) : last_on;
    peak = std::max(peak, target);
    half.outcome = Outcome::reached;
    half.time_to_pressure_s = rounded(*crossing - start);
  } else {
    const double limit = turn.settings.pump_limit_s.value_or(1e9);
    if (start + limit >= last_on - 1.0 && start + limit <= first_off + 1.0) stop = std::clamp(start + limit, last_on, std::max(last_on, first_off));
    const bool full = stop - start >= limit - interval - 2.0;
    half.outcome = full ? Outcome::not_reached : Outcome::interrupted;
  }
  half.peak_bar = rounded(peak);
  half.pump_start = later_by_s(turn.run.base, start);
  half.pump_stop = later_by_s(turn.run.base, stop);
  half.pump_run_s = rounded(stop - start);
  if (turn.settings.residual_bar) {
    for (std::size_t i = 1; i < vent.size(); ++i) {
      if (vent[i].bar > *turn.settings.residual_bar) continue;
      const LinePoint& a = vent[i - 1];
      const LinePoint& b = vent[i];
      if (a.bar > *turn.settings.residual_bar) {
        half.vent_s = rounded(vent_base + a.at_s + (a.bar - *turn.settings.residual_bar) * (b.at_s - a.at_s) / (a.bar - b.bar) - stop);
      }
      break;
    }
  }
  return half;
}

}  // namespace driftline::cycles
