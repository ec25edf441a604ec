// The physics of one turn of one line, event by event in pressure: compress, move the devices one after the other, rise,
// stop. Own model; of rules/ it uses only the pipe-flow formulas, through the figures in TurnInput.
#pragma once

#include <vector>

namespace driftline::simulate {

struct Device {
  double opening_bar = 60;  // local pressure that moves it
  double at = 0.5;          // where on the line, 0 pump .. 1 end
  double charge_cm3 = 1;
  double stuck_from = 2;    // share of wear at which it sticks; above 1: never
};

// All as it is now, at the present temperature and wear.
struct TurnInput {
  double delivery_cm3_s = 1;
  double drop_bar = 10;              // pump to the line's end at this delivery
  double compliance_cm3_bar = 0.3;   // grease and walls
  double air_cm3 = 1;                // free air at 1 bar absolute
  const std::vector<Device>* devices = nullptr;
  double stuck_share = 0;            // wear of the devices
  double leak_cm3_s = 0;             // out of the line, at the target pressure
  double leak_power = 0.7;
  double bypass_cm3_s = 0;           // through the changeover valve, at the target pressure
  double relief_bar = 1e9;           // opens; passes everything 6 bar above
  double restriction_bar = 0;        // lost at the line's start
  double start_bar = 0;              // what the line holds
  double sensor_at = 0;
  double sensor_offset_bar = 0;      // the controller believes its sensor
  double target_bar = 180;
  double pump_limit_s = 240;
  double soft_start_s = 1.5;         // until the pump delivers in full
  double reaction_s = 0.3;           // from the target to the pump's stop
};

struct TurnPoint {
  double after_s = 0;
  double bar = 0;  // at the sensor, without its faults
};

struct TurnResult {
  bool reached = false;
  double to_pressure_s = 0;  // when reached
  double stop_s = 0;
  double peak_bar = 0;
  double dispensed_cm3 = 0;
  double leaked_cm3 = 0;
  int moved = 0;
  int not_moved = 0;
};

// `curve` is cleared and filled, pump start to stop; its capacity is reused.
TurnResult run_turn(const TurnInput& in, std::vector<TurnPoint>& curve);

}  // namespace driftline::simulate
