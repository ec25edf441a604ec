// A station invented for these tests: plain curves of known shape, sampled as a sender would. No physics beyond a soft
// start, a plateau, a steep rise and an exponential vent; what matters is that every figure is known exactly.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <random>
#include <vector>

#include "gateway/cycles/state.h"
#include "gateway/cycles/station_cycles.h"

namespace driftline::cycles {

struct InventedTurn {
  double start_s = 0;
  int line = 1;
  double pump_s = 0;               // how long the pump ran
  std::optional<double> met_s;     // target met, since start
};

struct Station {
  int lines = 2;
  double fast_s = 1;
  double rest_s = 60;
  double tail_s = 60;              // fast sampling goes on this long after the stop
  bool says_pump = true;
  bool says_line = true;
  bool says_seq = true;
  double noise_bar = 0.2;
  double phase_s = 0.37;           // of the sampling beat
  double cycle_s = 1200;
  double target_bar = 200;
  double limit_s = 150;
  double pace = 1;                 // below 1 the pump is too weak for the target
  double silent_s = 0;             // a gauge at the far end shows nothing for so long after the start
  double vent_constant_s = 8;
  std::optional<double> stopped_after_s;  // somebody stops each pump run
  std::int64_t epoch_ms = 1'767'225'600'000;  // 2026-01-01

  [[nodiscard]] ControllerSettings settings() const { return {cycle_s, limit_s, target_bar, 8.0, lines}; }
  [[nodiscard]] double share_s() const { return cycle_s / lines; }
  [[nodiscard]] Time at(double s) const { return time_from_ms(epoch_ms + std::llround(s * 1000)); }

  // Bar above the residual, without a stop: soft for 4 s, then to 60 bar at 20 s, plateau to 80 bar at 60 s, then 4 bar/s.
  [[nodiscard]] double rise(double t) const {
    const double u = t * pace;
    double bar = 0;
    if (u < 4) {
      bar = 0.5 * u;
    } else if (u < 20) {
      bar = 2 + (u - 4) * 58.0 / 16.0;
    } else if (u < 60) {
      bar = 60 + (u - 20) * 0.5;
    } else {
      bar = 80 + (u - 60) * 4.0;
    }
    return pace < 1 ? std::min(bar, 0.8 * target_bar) : bar;
  }
  [[nodiscard]] InventedTurn turn(int n) const {
    InventedTurn out;
    out.start_s = 100.13 + n * (share_s() + 0.013);
    out.line = n % lines + 1;
    if (pace >= 1) out.met_s = silent_s + 60 + (target_bar - residual_bar - 80) / 4.0;
    out.pump_s = out.met_s ? *out.met_s + 0.25 : limit_s;
    if (stopped_after_s && *stopped_after_s < out.pump_s) {
      out.pump_s = *stopped_after_s;
      out.met_s.reset();
    }
    return out;
  }
  [[nodiscard]] double bar(int n, int line, double t) const {
    const InventedTurn of = turn(n);
    if (line != of.line || t < of.start_s) return residual_bar;
    const double since = t - of.start_s;
    if (since < of.pump_s) return residual_bar + rise(std::max(0.0, since - silent_s));
    return residual_bar + rise(of.pump_s - silent_s) * std::exp(-(since - of.pump_s) / vent_constant_s);
  }

  // Samples of turns [0, turns), in order.
  [[nodiscard]] std::vector<Sample> samples(int turns) const {
    std::vector<Sample> out;
    std::mt19937 random(7);
    std::normal_distribution<double> noise(0.0, noise_bar);
    std::uint64_t seq = 0;
    double last = -1e9;
    const double end = turn(turns).start_s - 1;
    for (double t = phase_s; t < end; t += fast_s) {
      int n = 0;
      while (n + 1 < turns && t >= turn(n + 1).start_s) ++n;
      const InventedTurn of = turn(n);
      const double since = t - of.start_s;
      const bool on = since >= 0 && since < of.pump_s;
      const bool fast = since >= 0 && since < of.pump_s + tail_s;
      if (!fast && t - last < rest_s - 1e-9) continue;
      last = t;
      Sample sample;
      sample.time = at(t);
      if (says_seq) sample.seq = seq;
      ++seq;
      if (says_pump) sample.pump = on;
      if (says_line) sample.line = since >= 0 || n == 0 ? of.line : turn(n - 1).line;
      for (int line = 1; line <= lines; ++line) {
        sample.pressure.append(std::round((bar(n, line, t) + noise(random)) * 10.0) / 10.0);
      }
      if (!fast) {
        sample.level_pct = 60;
        sample.temp_c = 11.5;
      }
      out.push_back(sample);
    }
    return out;
  }

  static constexpr double residual_bar = 1.5;
};

inline std::vector<HalfCycle> half_cycles_in(const std::vector<StationEvent>& events) {
  std::vector<HalfCycle> out;
  for (const StationEvent& event : events) {
    if (const auto* half = std::get_if<HalfCycle>(&event)) out.push_back(*half);
  }
  return out;
}

// All of them, each received `delay_s` after it was measured, then the end.
inline std::vector<StationEvent> events_of(const std::vector<Sample>& samples, const ControllerSettings& settings,
                                           double delay_s = 0.2) {
  State state;
  std::vector<StationEvent> out;
  for (const Sample& sample : samples) take(state, sample, later_by_s(sample.time, delay_s), settings, out);
  finish(state, settings, out);
  return out;
}

inline std::vector<HalfCycle> half_cycles_of(const Station& station, int turns) {
  return half_cycles_in(events_of(station.samples(turns), station.settings()));
}

}  // namespace driftline::cycles
