#include "gateway/cycles/trace.h"

#include <algorithm>
#include <limits>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

// Every second point of the middle goes; what stays was measured, so no peak is smeared.
void thin(std::vector<TracePoint>& points) {
  const std::size_t from = trace_ends_kept;
  const std::size_t to = points.size() - trace_ends_kept;
  std::size_t write = from;
  for (std::size_t read = from; read < points.size(); ++read) {
    if (read < to && (read - from) % 2 == 1) continue;
    points[write++] = points[read];
  }
  points.resize(write);
}

}  // namespace

void Trace::add(Time time, TracePoint point) {
  if (points.empty()) base = time;
  const auto at_ms = (time - base).count();
  if (at_ms > std::numeric_limits<std::int32_t>::max() || at_ms < std::numeric_limits<std::int32_t>::min()) return;
  point.at_ms = static_cast<std::int32_t>(at_ms);
  points.push_back(point);
  if (points.size() >= trace_points_max) thin(points);
}

void Trace::drop_before(std::size_t first) {
  if (first == 0) return;
  points.erase(points.begin(), points.begin() + static_cast<std::ptrdiff_t>(std::min(first, points.size())));
  move_base();
}

void Trace::move_base() {
  if (points.empty()) return;
  const auto shift = points.front().at_ms;
  base += std::chrono::milliseconds{shift};
  for (TracePoint& p : points) p.at_ms -= shift;
}

void Trace::add(const Sample& sample) {
  TracePoint point;
  point.line = static_cast<std::uint8_t>(sample.line.value_or(0));
  for (int line = 1; line <= sample.pressure.lines; ++line) {
    const auto bar = sample.pressure.of_line(line);
    if (!bar) continue;
    point.given = static_cast<std::uint8_t>(point.given | (1U << (line - 1)));
    point.bar[static_cast<std::size_t>(line - 1)] = static_cast<float>(*bar);
  }
  add(sample.time, point);
}

std::vector<LinePoint> line_of(const Trace& trace, int line) {
  std::vector<LinePoint> out;
  out.reserve(trace.points.size());
  for (std::size_t i = 0; i < trace.points.size(); ++i) {
    if (const auto bar = trace.bar_of(i, line)) out.push_back({trace.points[i].at_ms / 1000.0, *bar});
  }
  return out;
}

}  // namespace driftline::cycles
