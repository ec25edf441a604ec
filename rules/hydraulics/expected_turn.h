// What a line's turn should look like at a temperature, from its design alone: for a station that nobody has seen yet.
//
//   delivery         q(T) = stated delivery * delivered_share / (1 + cold_loss (K(T)/K(20) - 1)), K the grease's consistency: a
//                    pump gives less than its papers say against a line's pressure, and fills worse with stiff grease
//   plateau          charges / q
//   time to pressure (charges + volume taken up to the target) / q; the target is meant at the line's end, so that the mean
//                    pressure is the target and half the flow's drop (a gauge at the pump meets it a little earlier)
//   plateau pressure opening pressure of the devices + the drop at full delivery to where they sit, on average half-way
//   residual floor   4 L tau_0 / D (pipe_flow.h): what the line's far end may hold. A gauge near the vent sees less, and grease
//                    creeps: over minutes about half of it goes (common practice, no source)
//   works            the last device's opening pressure and the whole drop fit under the target, the time fits into the
//                    pump limit, the floor lies under the residual limit
//   longest line     bisected on these three, all else unchanged (the same devices spread over the new length)
//   vent             the stored volume driven back through the whole line by what pressure is left, from the target down to
//                    the residual limit; valve and return line are not counted, so it is the least to expect
// Fields that a design leaves open are taken from `Assumptions` and named in `assumed`. Accuracy: plateau a few per cent
// (the pump's real delivery), time to pressure 10 % with stated hoses and no air, floor and vent a factor of two (greases
// differ). From the formulas of this folder; the combination is common practice, no source.
// Pure; any thread.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rules/hydraulics/grease.h"
#include "rules/hydraulics/line_stiffness.h"
#include "rules/records/settings.h"

namespace driftline::hydraulics {

struct Assumptions {
  Grease grease;
  double delivered_share = 0.9;        // of the stated delivery (common practice, no source: 0.85 to 0.95)
  double cold_loss = 0.18;             // common practice, no source: nothing to a half, by pump and follower
  double wall_mm = 1.5;
  std::optional<double> hose_expansion_cm3_per_m_per_bar;
  double bulk_modulus_bar = 1.6e4;
  double air_share_pct = 0.5;          // free air of the line's volume
  double device_opening_bar = 60;      // devices move at 40 to 90 bar (common practice, no source)
  double device_opening_bar_max = 80;  // of the stiffest device
  double bore_mm = 12;
  double length_m = 20;
  double target_bar = 180;
  double pump_limit_s = 300;
  double residual_bar = 25;
  bool operator==(const Assumptions&) const = default;
};

struct ExpectedTurn {
  int line = 1;
  double temp_c = 20;
  double plateau_s = 0;
  double plateau_bar = 0;
  std::optional<double> time_to_pressure_s;  // empty: the last devices never open
  double flow_drop_bar = 0;                  // pump to the line's end at full delivery
  double delivery_cm3_min = 0;               // at this temperature
  double residual_floor_bar = 0;
  std::optional<double> vent_s;              // pump stop to the residual limit; empty: the floor lies above it
  double longest_line_m = 0;                 // that still works at this temperature; 0: none does
  bool devices_served = false;               // the last device opens under the target
  bool in_time = false;                      // within the pump limit
  bool vents = false;                        // the floor is under the residual limit
  double yield_20c_pa = 0;                   // of the grease that was counted with
  std::optional<double> yield_needed_20c_pa; // where it is not: the most yield stress at 20 C with which it would be
  [[nodiscard]] bool works() const { return devices_served && in_time && vents; }
  bool operator==(const ExpectedTurn&) const = default;
};

// Empty when delivery or charges are not known: `missing` then says which.
struct Expectation {
  std::vector<ExpectedTurn> turns;   // line by line, temperatures in the order given
  double target_bar = 0;             // settings that were counted with
  double pump_limit_s = 0;
  double residual_bar = 0;
  std::vector<std::string> missing;  // "displacement_cm3_min", "lines/1/charges_cm3"
  std::vector<std::string> assumed;  // likewise, for what was taken from Assumptions
};

[[nodiscard]] Expectation expected_turns(const StationDesign& design, const std::vector<double>& temps_c,
                                         const Assumptions& assumptions);

}  // namespace driftline::hydraulics
