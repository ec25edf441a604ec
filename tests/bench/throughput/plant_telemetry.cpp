#include "tests/bench/throughput/plant_telemetry.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace driftline::bench {
namespace {

constexpr int turn_every_s = 300, pump_s = 120, vent_s = 20;
constexpr double residual_bar = 4, target_bar = 180;

double pressure_after(int second) {
  if (second < pump_s)
    return residual_bar + (target_bar - residual_bar) * std::pow(second / double{pump_s - 5}, 1.5);
  return std::max(residual_bar, target_bar * std::exp(-(second - pump_s) / double{vent_s / 3}));
}

std::string topic_of(int station, const char* kind) {
  char topic[96];
  std::snprintf(topic, sizeof(topic), "grease/site-%02d/ps-%04d/%s", station / 50, station, kind);
  return topic;
}

}  // namespace

void telemetry(std::uint64_t n, int stations, std::int64_t start_ms, TimedMessage& out) {
  const int station = static_cast<int>(n % static_cast<std::uint64_t>(stations));
  const auto second = static_cast<std::int64_t>(n / static_cast<std::uint64_t>(stations));
  const auto within = static_cast<int>((second + station * 7) % turn_every_s);
  const auto line = static_cast<int>((second + station * 7) / turn_every_s % 2) + 1;
  const double turning = std::min(target_bar + 2, pressure_after(within));
  char payload[256];
  std::snprintf(
      payload, sizeof(payload),
      R"({"time":%lld,"seq":%lld,"pump":%s,"line":%d,"pressure_bar":[%.1f,%.1f],"level_pct":%.1f,"temp_c":%.1f})",
      static_cast<long long>(start_ms + second * 1000), static_cast<long long>(second),
      within < pump_s ? "true" : "false", line, line == 1 ? turning : residual_bar,
      line == 2 ? turning : residual_bar, 80.0 - static_cast<double>(second) / 36000.0, 18.5);
  out.topic = topic_of(station, "telemetry");
  out.payload = payload;
}

TimedMessage settings_of(int station) {
  return {topic_of(station, "settings"),
          R"({"cycle_s":600,"pump_limit_s":240,"target_bar":180,"residual_bar":20,"lines":2})"};
}

}  // namespace driftline::bench
