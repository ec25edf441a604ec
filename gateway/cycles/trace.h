// Points of one stretch of a turn, bounded: when it is full the middle is thinned and both ends stay whole.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "gateway/telemetry/sample.h"

namespace driftline::cycles {

// Pressures are kept as float: a gauge's last digit is 1e-4 of its range at best, a float holds 6e-8.
struct TracePoint {
  std::int32_t at_ms = 0;  // since the trace's base
  std::uint8_t line = 0;   // as the controller said; 0: it did not
  std::uint8_t given = 0;  // which lines' pressures are known
  std::array<float, lines_max> bar{};
  bool operator==(const TracePoint&) const = default;
};

struct Trace {
  Time base{};
  std::vector<TracePoint> points;
  bool operator==(const Trace&) const = default;

  void add(const Sample& sample);
  void add(Time time, TracePoint point);
  void drop_before(std::size_t first);  // and moves the base
  void move_base();                     // to the first point
  void clear() { points.clear(); }
  [[nodiscard]] Time time_of(std::size_t i) const { return base + std::chrono::milliseconds{points[i].at_ms}; }
  [[nodiscard]] std::optional<double> bar_of(std::size_t i, int line) const {
    if (((points[i].given >> (line - 1)) & 1U) == 0) return std::nullopt;
    return static_cast<double>(points[i].bar[static_cast<std::size_t>(line - 1)]);
  }
};

// One line of a trace, as figures are read from it: seconds since the trace's base.
struct LinePoint {
  double at_s = 0;
  double bar = 0;
};
[[nodiscard]] std::vector<LinePoint> line_of(const Trace& trace, int line);

}  // namespace driftline::cycles
