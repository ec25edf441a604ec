// What a station's controller is set to, and what an engineer knows of the station.
#pragma once

#include <optional>
#include <vector>

#include "rules/records/identity.h"

namespace driftline {

// As announced on the settings topic; each may be unknown.
struct ControllerSettings {
  std::optional<double> cycle_s;        // time in which each line is pressurised once; each line has an equal share
  std::optional<double> pump_limit_s;   // longest pump run in one half-cycle
  std::optional<double> target_bar;     // gauge
  std::optional<double> residual_bar;   // most a line may still hold when its turn starts, gauge
  std::optional<int> lines;             // 1..8
  bool operator==(const ControllerSettings&) const = default;
};

// Fields of `over` win where they are known.
[[nodiscard]] inline ControllerSettings overlay(const ControllerSettings& under, const ControllerSettings& over) {
  ControllerSettings both = under;
  if (over.cycle_s) both.cycle_s = over.cycle_s;
  if (over.pump_limit_s) both.pump_limit_s = over.pump_limit_s;
  if (over.target_bar) both.target_bar = over.target_bar;
  if (over.residual_bar) both.residual_bar = over.residual_bar;
  if (over.lines) both.lines = over.lines;
  return both;
}

// One feed line as built.
struct LineDesign {
  std::optional<double> length_m;
  std::optional<double> bore_mm;
  std::optional<int> devices;          // metering devices on the line
  std::optional<double> charges_cm3;   // sum of the devices' charges in one turn
  bool operator==(const LineDesign&) const = default;
};

// What is known of the station at commissioning; each may be unknown.
struct StationDesign {
  ControllerSettings settings;                    // used where the controller has announced nothing
  std::optional<double> displacement_cm3_min;     // pump delivery
  std::optional<double> reservoir_kg;             // grease in a full reservoir
  std::optional<double> grease_density_kg_l;
  std::optional<double> low_pct;                  // level at which the low switch is made
  std::optional<double> empty_pct;                // level below which the pump draws air
  std::optional<bool> level_sensor;
  std::optional<bool> low_level_switch;
  std::vector<LineDesign> lines;                  // line 1 first; may be shorter than the station's lines
  bool operator==(const StationDesign&) const = default;
};

}  // namespace driftline
