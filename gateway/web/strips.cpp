#include "gateway/web/strips.h"

#include <algorithm>
#include <cmath>

namespace driftline::web {
namespace {

constexpr std::int64_t day_ms = 86'400'000;
// Where a line is still being learnt, its spread is at least this share of its median: a few equal days would make any other look wild.
constexpr double least_spread = 0.02;

int clipped(double deviations) {
  return static_cast<int>(std::clamp(std::lround(10 * deviations), -static_cast<long>(strip_most), static_cast<long>(strip_most)));
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

void Strips::take(const history::TurnGist& turn) {
  Station& station = stations_[turn.station];
  station.last_turn = std::max(station.last_turn, turn.pump_stop);
  if (station.lines.size() < static_cast<std::size_t>(turn.line)) station.lines.resize(static_cast<std::size_t>(turn.line));
  Line& line = station.lines[static_cast<std::size_t>(turn.line - 1)];
  const auto number = static_cast<std::int32_t>(ms_since_1970(turn.pump_start) / day_ms);
  Day& day = line.days[static_cast<std::size_t>(number % strip_days + strip_days) % strip_days];
  if (number < day.day) return;  // older than the strip
  if (number > day.day) day = Day{number};
  if (turn.target_bar) line.now.target_bar = turn.target_bar;
  if (turn.outcome == Outcome::not_reached) day.missed = true;
  if (!turn.time_to_pressure_s) return;
  if (turn.usual_time_to_pressure_s && turn.usual_time_to_pressure_s->deviation > 0) {
    const auto& usual = *turn.usual_time_to_pressure_s;
    day.deviations += static_cast<float>((*turn.time_to_pressure_s - usual.expected) / usual.deviation);
    ++day.judged;
    line.now.usual_s = usual.expected;
    return;
  }
  day.sum_s += static_cast<float>(*turn.time_to_pressure_s);
  ++day.turns;
  line.now.usual_s = *turn.time_to_pressure_s;
}

std::vector<StripSlots> Strips::of(const StationId& id, Time from) const {
  std::vector<StripSlots> all;
  const auto found = stations_.find(id);
  if (found == stations_.end()) return all;
  const auto first = static_cast<std::int32_t>(ms_since_1970(from) / day_ms);
  for (const Line& line : found->second.lines) {
    std::vector<double> means;
    for (const Day& day : line.days)
      if (day.turns > 0 && day.day >= first) means.push_back(static_cast<double>(day.sum_s) / day.turns);
    double middle = 0;
    double spread = 1;
    if (!means.empty()) {
      middle = median(means);
      std::vector<double> off;
      for (const double mean : means) off.push_back(std::abs(mean - middle));
      spread = std::max(1.4826 * median(off), least_spread * middle);
    }
    StripSlots& slots = all.emplace_back(strip_days);
    for (const Day& day : line.days) {
      if (day.day < first || day.day >= first + strip_days) continue;
      auto& slot = slots[static_cast<std::size_t>(day.day - first)];
      if (day.missed) slot = strip_missed;
      else if (day.judged > 0) slot = clipped(static_cast<double>(day.deviations) / day.judged);
      else if (day.turns > 0) slot = clipped((static_cast<double>(day.sum_s) / day.turns - middle) / spread);
    }
  }
  return all;
}

std::optional<Strips::LineNow> Strips::line_now(const StationId& station, int line) const {
  const auto found = stations_.find(station);
  if (found == stations_.end() || line < 1 || static_cast<std::size_t>(line) > found->second.lines.size()) return std::nullopt;
  return found->second.lines[static_cast<std::size_t>(line - 1)].now;
}

std::optional<Strips::StationNow> Strips::station_now(const StationId& station) const {
  const auto found = stations_.find(station);
  if (found == stations_.end()) return std::nullopt;
  return StationNow{found->second.last_turn, static_cast<int>(found->second.lines.size())};
}

}  // namespace driftline::web
