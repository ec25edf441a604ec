// What a rule makes of a half-cycle, a reading or a silence.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "rules/records/time.h"

namespace driftline {

enum class Condition : std::uint8_t {
  slow_to_pressure,
  quick_to_pressure,
  pressure_not_reached,
  peak_shift,
  residual_pressure,
  slow_vent,
  reservoir_low,
  short_reservoir_life,
  grease_use_shift,
  missed_turn,
  station_silent,
  doubtful_sensor,
};
inline constexpr std::size_t condition_count = 12;

enum class Cause : std::uint8_t {
  line_broken,
  slow_leak,
  air_in_line,
  stiff_grease,
  pump_worn,
  relief_leaking,
  changeover_leaking,
  metering_stuck,
  line_restricted,
  vent_restricted,
  outside_pressure,
  reservoir_leak,
  level_sensor_stuck,
  pressure_sensor_drift,
  settings_changed,
  power_lost,
  link_lost,
};
inline constexpr std::size_t cause_count = 17;

enum class Urgency : std::uint8_t { notice, plan, act };

struct WeightedCause {
  Cause cause = Cause::slow_leak;
  double weight = 0;  // probability; those of one finding sum to 1
  bool operator==(const WeightedCause&) const = default;
};

// When the limit is expected to be crossed; empty where nothing is within sight. 80 % interval.
struct Forecast {
  std::optional<Time> limit_at;
  std::optional<Time> limit_at_earliest;
  std::optional<Time> limit_at_latest;
  bool operator==(const Forecast&) const = default;
};

// The figure that moved, in its own unit, so that a number in a message can be traced.
struct FigureShift {
  std::string figure;                // "time_to_pressure_s", "residual_bar", ...
  double value = 0;                  // now, smoothed as the rule saw it
  std::optional<double> usual;       // baseline at the present temperature
  std::optional<double> spread;      // its standard deviation
  std::optional<double> limit;       // what must not be crossed
  std::optional<Time> since;         // when the shift began
  int turns = 0;                     // half-cycles behind `value`
  bool operator==(const FigureShift&) const = default;
};

// One thing that was seen and speaks for the first of the causes: a clause for people, and the figure behind it where there
// is one.
struct EvidenceItem {
  std::string figure;           // "vent_s", "plateau_s", ...; empty where it is no figure: "the other lines did not move with it"
  std::optional<double> value;  // now, smoothed over the last turns
  std::optional<double> usual;  // at the present temperature
  std::optional<Time> since;    // when it began to move, where that is known
  std::string text;             // one clause, without a point; neither line breaks nor tabs
  bool operator==(const EvidenceItem&) const = default;
};
inline constexpr std::size_t evidence_max = 6;

// The state of one condition after a judgement. A rule says so each time it judges, also when nothing is wrong; the
// warning's life (rules/warnings) turns changes of it into warnings.
struct Finding {
  Condition condition = Condition::slow_to_pressure;
  std::optional<int> line;  // empty: the whole station
  Time time{};              // event time of the judgement
  bool holds = false;       // the condition is present
  Urgency urgency = Urgency::notice;
  std::vector<WeightedCause> causes;  // most likely first
  std::vector<EvidenceItem> evidence; // what speaks most for the first of them first; at most evidence_max
  Forecast forecast;
  std::optional<FigureShift> shift;
  std::string reason;       // why it holds, or why it no longer does; plain words, one clause
  bool operator==(const Finding&) const = default;
};

}  // namespace driftline
