// Rows as line protocol. These bytes are read by dashboards of others: names are never changed, fields are only appended.
//
//   <measurement>,<tag>=<value>,... <field>=<value>,... <ms since 1970>\n
//
// Tags sorted by name; fields in the order below; a field that is unknown is left out. Numbers in the shortest form that
// reads back to the same double; whole numbers end in i; booleans are true and false. No text fields: one of the servers
// that are served cannot keep them. Precision is always ms and the time is always there.
//
//   half_cycle  one turn of one line, at pump start
//     line, outcome, site, station
//     time_to_pressure_s time_to_pressure_error_s pump_run_s peak_bar residual_bar vent_s level_pct temp_c samples(i)
//     largest_gap_s vent_floor_bar soft_start_s plateau_s plateau_bar steep_bar_per_s run_on_s target_bar off_schedule(b)
//     late(b)
//   reservoir   end of a UTC day, at the day's midnight
//     site, station
//     level_pct use_pct_per_day life_days life_days_low life_days_high
//   warning     one change of a warning, at its time
//     cause (the likeliest, if any), change, condition, line (absent: the whole station), site, station, urgency
//     open(b) urgency_level(i: 0 notice, 1 plan, 2 act) cause_weight days_to_limit days_to_limit_earliest
//     days_to_limit_latest value usual
//   forecast    one a day while a warning that looks ahead is open, at the day's midnight
//     condition, line, site, station
//     in_sight(b) days_to_limit days_to_limit_earliest days_to_limit_latest
//   fault       what could not be used of the messages of one millisecond, at its receipt
//     code, site, station (both absent if unknown)
//     count(i)
//   gateway     what the program counts of itself, at the time of sending
//     event, gateway
//     total(i)
//
// Key of a point: measurement, tags, time. A row sent again has the same key and the same fields, so it changes nothing.
// Refused, with a reason, and never bent into shape: a tag that is not 1-64 of A-Z a-z 0-9 . _ -, a number that is not
// finite, a time that a server cannot hold, a row without any field, a line that is too long.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "gateway/telemetry/fault.h"
#include "rules/records/half_cycle.h"
#include "rules/records/warning.h"

namespace driftline::metrics {

enum class Refusal : std::uint8_t { bad_tag, not_finite, time_out_of_range, no_field, too_long };
[[nodiscard]] std::string_view name_of(Refusal refusal);

// Each appends one line to `out`, or gives the reason and leaves `out` as it was. Any thread.
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const StationId& station, const HalfCycle& turn);
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const ReservoirDay& day);
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const WarningChange& change);
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const ForecastDay& day);

struct FaultCount {
  Time received{};
  std::optional<StationId> station;
  FaultCode code = FaultCode::not_json;
  std::int64_t count = 0;
};
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const FaultCount& faults);

struct GatewayCount {
  Time time{};
  std::string_view gateway;
  std::string_view event;
  std::uint64_t total = 0;
};
[[nodiscard]] std::optional<Refusal> append_line(std::string& out, const GatewayCount& count);

}  // namespace driftline::metrics
