// What really happened, for scorers. Times are milliseconds since 1970 in the station's own clock.
//
// When is what a fault?
//   visible      a perfect observer could see it: beside the same turn without the wear, at the same
//   temperature, time to
//                pressure is off by 3 %, the peak by 2 bar, the vent by 15 %, the floor by 1.5 bar; a
//                reservoir leak once it has cost 1 % of the level; a stuck sensor, lost power and a lost link
//                at their onset.
//   own failure  the station misses its target or holds more than its residual limit; by a reservoir leak
//   also when the reservoir is
//                at its empty mark although people refill as they do ("dry"). Of a growing fault that
//                somebody repairs first, or that outlasts the recording: when it would have come had nobody
//                acted ("if-left").
//   cold spell   counts as a fault of a station only where the cold alone takes its reserve: a turn of the
//   same station without
//                any wear, at that temperature, takes `cold_counts_share` of the pump limit or holds as much
//                of the residual limit, and differs by three times what is visible from the same turn at the
//                season's usual temperature. One degree more and it fails. Through a milder spell the station
//                works as it was designed to; nothing is written of it, and a warning then is false unless
//                the turns come near a limit:
//   explained    windows in which a warning of a condition is not false: power cuts and link outages; a day
//   after the station's own
//                failure; two days from a day whose slowest turn took `near_limit_share` of the pump limit;
//                announced settings; a reservoir that lasts two weeks or less, or is low.
// The shares are common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gateway/simulate/plan.h"

namespace driftline::simulate {

inline constexpr double cold_counts_share = 0.95;
inline constexpr double near_limit_share = 0.85;

struct TurnTruth {
  int line = 1;
  std::int64_t start_ms = 0;
  std::int64_t stop_ms = 0;
  const char* outcome = "reached";
  std::optional<double> time_to_pressure_s;
  double peak_bar = 0;
  double residual_bar = 0;
  std::optional<double> vent_s;
  double level_pct = 0;
  double temp_c = 0;
  double used_cm3 = 0;
  bool manual = false;
  int seen = 0;  // samples delivered of those taken while the pump ran
  int expected = 0;
  double largest_gap_s = 0;
  const char* delivery = "live";  // live, late, lost
  bool near_clock_step = false;
  const char* why = "";
};

struct FaultTruth {
  FaultPlan plan;
  std::vector<int> lines;
  bool whole_station = false;
  std::string form;
  std::int64_t onset_ms = 0;
  std::optional<std::int64_t> end_ms;
  std::optional<std::int64_t> visible_ms;      // when a perfect observer could see it
  std::optional<std::int64_t> own_failure_ms;  // when the station itself first fails
  std::string own_failure_how;
  std::optional<std::int64_t> harm_ms;  // bearings go short though the station sees nothing
  double severity_to_fail = 0;
};

struct RefillTruth {
  std::int64_t start_ms = 0;
  std::int64_t end_ms = 0;
  double from_pct = 0;
  double to_pct = 0;
  bool told = false;
};

struct Explained {
  std::int64_t from_ms = 0;
  std::int64_t to_ms = 0;
  std::vector<std::string> conditions;
  std::string why;
};

struct DayTruth {
  std::string date;
  double level_pct = 0;
  double use_pct = 0;
  double lowest_pct = 0;  // before a refill, say
  double life_days = 0;
  bool life_known = false;
};

struct Interval {
  std::int64_t from_ms = 0;
  std::int64_t to_ms = 0;
  std::string what;
};

struct MalformedTruth {
  std::int64_t received_ms = 0;
  std::string topic;
  std::string what;
  std::string reported;  // must, may, never
};

struct StationTruth {
  StationPlan plan;
  std::int64_t from_ms = 0;
  std::int64_t to_ms = 0;
  std::uint64_t samples = 0;
  std::vector<TurnTruth> turns;
  std::vector<FaultTruth> faults;
  std::vector<Interval> own_failures;  // from = to; what: not-reached or residual
  std::vector<RefillTruth> refills;
  std::vector<Interval> repairs;  // what: the cause
  std::vector<Interval> power_cuts;
  std::vector<Interval> link_outages;
  std::vector<Interval> clock_steps;  // from = when; to = from plus the step
  std::vector<Interval> settings_changes;
  std::vector<Explained> explained;
  std::vector<DayTruth> days;
  std::vector<MalformedTruth> malformed;
};

// The truth file: one JSON object, "format": "station-truth/1".
[[nodiscard]] std::string truth_text(const PlantPlan& plan, const std::vector<StationTruth>& stations,
                                     const std::string& recording, std::uint64_t messages);

}  // namespace driftline::simulate
