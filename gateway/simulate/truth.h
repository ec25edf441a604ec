// What really happened, for scorers. Times are milliseconds since 1970 in the station's own clock.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gateway/simulate/plan.h"

namespace driftline::simulate {

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
  int seen = 0;       // samples delivered of those taken while the pump ran
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
  std::optional<std::int64_t> harm_ms;         // bearings go short though the station sees nothing
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
  std::vector<Interval> repairs;       // what: the cause
  std::vector<Interval> power_cuts;
  std::vector<Interval> link_outages;
  std::vector<Interval> clock_steps;   // from = when; to = from plus the step
  std::vector<Interval> settings_changes;
  std::vector<Explained> explained;
  std::vector<DayTruth> days;
  std::vector<MalformedTruth> malformed;
};

// The truth file: one JSON object, "format": "station-truth/1".
[[nodiscard]] std::string truth_text(const PlantPlan& plan, const std::vector<StationTruth>& stations,
                                     const std::string& recording, std::uint64_t messages);

}  // namespace driftline::simulate
