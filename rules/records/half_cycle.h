// What one turn of one line did: the unit of judgement.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "rules/records/identity.h"
#include "rules/records/settings.h"
#include "rules/records/time.h"

namespace driftline {

enum class Outcome : std::uint8_t {
  reached,      // the target pressure was met
  not_reached,  // the pump ran to its limit without meeting it
  interrupted,  // the pump was stopped, or power or link was lost
  unclear,      // too little telemetry to say
};

struct CurvePoint {
  double after_s = 0;  // since pump start
  double bar = 0;      // gauge
  bool operator==(const CurvePoint&) const = default;
};

inline constexpr std::size_t curve_points_max = 64;

// The rise, as diagnosis needs it. Every figure may be unknown (too few samples, no such stretch).
struct RiseShape {
  std::vector<CurvePoint> curve;              // pump start to pump stop, at most curve_points_max, first and last kept
  std::optional<double> soft_start_s;         // pump start until the rise is under way
  std::optional<double> plateau_start_s;      // since pump start
  std::optional<double> plateau_s;            // length of the metering plateau
  std::optional<double> plateau_bar;          // its median pressure
  std::optional<double> steep_bar_per_s;      // slope of the rise after the plateau
  std::optional<double> run_on_s;             // time spent within 5 % under the target before it was met, or until stop
  bool operator==(const RiseShape&) const = default;
};

enum class Arrival : std::uint8_t {
  live,  // its samples came as they were measured
  late,  // they came in a batch after a link outage, or behind newer ones
};

// Times are in the station's own clock. Figures are empty where they could not be known.
struct HalfCycle {
  int line = 1;
  Time pump_start{};
  Time pump_stop{};
  Outcome outcome = Outcome::unclear;
  std::optional<double> time_to_pressure_s;  // pump start to target; only when reached
  double time_to_pressure_error_s = 0;       // standard error expected of it from sampling alone
  std::optional<double> pump_run_s;
  std::optional<double> peak_bar;
  std::optional<double> residual_bar;        // what the line held when its turn started
  std::optional<double> vent_s;              // pump stop until at or below the residual limit
  std::optional<double> level_pct;
  std::optional<double> temp_c;
  int samples = 0;                           // samples between pump start and pump stop
  std::optional<double> largest_gap_s;       // between those samples, ends included
  ControllerSettings settings;               // in force during the turn
  RiseShape shape;
  std::optional<double> vent_floor_bar;      // lowest pressure seen after the vent and before the next turn
  std::array<std::optional<double>, lines_max> others_start_bar{};  // every line at the turn's start
  std::array<std::optional<double>, lines_max> others_stop_bar{};   // every line at the turn's end
  bool off_schedule = false;                 // came when no turn was due: a manual start or a retry
  bool clock_stepped = false;                // the controller's clock was set during the turn
  Arrival arrival = Arrival::live;
  bool operator==(const HalfCycle&) const = default;
};

}  // namespace driftline
