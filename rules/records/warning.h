// A finding with a life.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rules/records/finding.h"
#include "rules/records/identity.h"
#include "rules/records/time.h"

namespace driftline {

enum class Change : std::uint8_t { raised, urgency_changed, cleared };

// A row of warnings.ndjson.
struct WarningChange {
  Time time{};
  StationId station;
  std::optional<int> line;  // empty: the whole station
  Condition condition = Condition::slow_to_pressure;
  Urgency urgency = Urgency::notice;
  Change change = Change::raised;
  std::vector<WeightedCause> causes;
  std::vector<EvidenceItem> evidence;
  Forecast forecast;
  std::optional<FigureShift> shift;
  std::string text;  // what a technician reads
  bool operator==(const WarningChange&) const = default;
};

// A row of reservoirs.ndjson: the state at the end of a UTC day. Per cent of the reservoir, per cent a day, days.
struct ReservoirDay {
  Time date{};  // midnight UTC at which the day began
  StationId station;
  std::optional<double> level_pct;
  std::optional<double> use_pct_per_day;
  std::optional<double> life_days;
  std::optional<double> life_days_low;   // 80 % interval
  std::optional<double> life_days_high;
  bool operator==(const ReservoirDay&) const = default;
};

// A row of forecasts.ndjson, while a warning that looks ahead is open.
struct ForecastDay {
  Time date{};
  StationId station;
  std::optional<int> line;
  Condition condition = Condition::slow_to_pressure;
  Forecast forecast;
  bool operator==(const ForecastDay&) const = default;
};

}  // namespace driftline
