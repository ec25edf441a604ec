#include "gateway/cycles/readings.h"

#include <cmath>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {

void Readings::see(Sample& sample, bool at_rest, std::vector<StationEvent>& out) {
  for (int line = 1; line <= sample.pressure.lines; ++line) see_pressure(sample, line, out);
  see_level(sample, at_rest, out);
}

void Readings::see_pressure(Sample& sample, int line, std::vector<StationEvent>& out) {
  Gauge& gauge = lines_[static_cast<std::size_t>(line - 1)];
  const auto bar = sample.pressure.of_line(line);
  const bool nonsense = bar && (*bar < pressure_least_bar || *bar > pressure_most_bar);
  if (nonsense) sample.pressure.given = static_cast<std::uint8_t>(sample.pressure.given & ~(1U << (line - 1)));
  if (bar && !nonsense) {
    if (gauge.told) out.emplace_back(SensorReport{sample.time, line, *gauge.told, true});
    if (gauge.missing != 0 || gauge.nonsense != 0) gauge = Gauge{};
    return;
  }
  if (gauge.missing == 0 && gauge.nonsense == 0) gauge.since = sample.time;
  std::int32_t& count = nonsense ? gauge.nonsense : gauge.missing;
  if (count < gauge_trouble_samples) ++count;
  if (gauge.told || count < gauge_trouble_samples || seconds_between(gauge.since, sample.time) < gauge_trouble_s) return;
  gauge.told = nonsense ? SensorTrouble::out_of_range : SensorTrouble::missing;
  out.emplace_back(SensorReport{sample.time, line, *gauge.told, false});
}

void Readings::see_level(const Sample& sample, bool at_rest, std::vector<StationEvent>& out) {
  if (!sample.level_pct && !sample.level_low && !sample.temp_c) return;
  const bool switched = sample.level_low && sample.level_low != level_low_;
  const bool jumped = sample.level_pct && seen_pct_ && std::abs(*sample.level_pct - *seen_pct_) > level_jump_pct;
  const double since = last_level_ ? seconds_between(*last_level_, sample.time) : level_every_s;
  if (!switched && since < (jumped ? level_jump_every_s : level_every_s)) return;
  last_level_ = sample.time;
  if (sample.level_low) level_low_ = sample.level_low;
  if (sample.level_pct) seen_pct_ = sample.level_pct;
  out.emplace_back(LevelReading{sample.time, sample.level_pct, sample.level_low, sample.temp_c, at_rest});
}

void Readings::clock_moved(std::int64_t by_ms) {
  if (last_level_) *last_level_ += std::chrono::milliseconds{by_ms};
}

}  // namespace driftline::cycles
