// For each line of each station: how each of the last 30 days lay against what was usual. Kept in memory, fed with gists of
// half-cycles in the order of their ids. One thread at a time.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "gateway/history/rows.h"
#include "gateway/web/limits.h"

namespace driftline::web {

inline constexpr int strip_missed = 120;  // a turn of the slot missed its target
inline constexpr int strip_most = 100;    // tenths of the usual deviation, clipped

using StripSlots = std::vector<std::optional<int>>;

class Strips {
 public:
  void take(const history::TurnGist& turn);
  // Slot 0 begins at `from`, which is a UTC midnight. One list a line; empty: no turn of the station is known.
  [[nodiscard]] std::vector<StripSlots> of(const StationId& station, Time from) const;

  struct LineNow {
    std::optional<double> usual_s;   // time to pressure, as the last turn was held against, else the last one itself
    std::optional<double> target_bar;
  };
  [[nodiscard]] std::optional<LineNow> line_now(const StationId& station, int line) const;
  // When the last pump run that is known of ended, and how many lines have had one.
  struct StationNow {
    Time last_turn{};
    int lines = 0;
  };
  [[nodiscard]] std::optional<StationNow> station_now(const StationId& station) const;
  template <typename Each>
  void each_station(Each each) const {
    for (const auto& [station, lines] : stations_) each(station);
  }

 private:
  struct Day {
    std::int32_t day = -1;   // since 1970; another one: the slot is free
    bool missed = false;
    float deviations = 0;    // sum over `judged` turns
    float sum_s = 0;         // of turns without a usual time, for a strip of its own
    std::uint16_t judged = 0;
    std::uint16_t turns = 0;
  };
  struct Line {
    std::array<Day, strip_days> days{};
    LineNow now;
  };
  struct Station {
    std::vector<Line> lines;
    Time last_turn{};
  };
  std::map<StationId, Station> stations_;
};

}  // namespace driftline::web
