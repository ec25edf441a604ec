// A station's hardware at a temperature and with its wear: figures for a turn and for the vent after it.
#pragma once

#include <array>
#include <vector>

#include "gateway/simulate/plan.h"
#include "gateway/simulate/turn.h"
#include "rules/records/identity.h"

namespace driftline::simulate {

struct LineWear {
  double leak_share = 0;         // of the pump's delivery, at the target pressure
  double leak_power = 0.7;
  double restriction_bar = 0;
  double stuck_share = 0;        // of the devices
  double vent_factor = 1;        // the vent takes this much longer
  double hold_bar = 0;           // and stops this far above its floor
  double offset_bar = 0;         // of the pressure sensor
  double air_cm3 = 0;            // got in at once
};

struct Wear {
  double delivery_factor = 1;
  double relief_share = 0;       // 1: the relief valve opens at 92 % of the target
  double bypass_share = 0;
  double target_factor = 1;
  double reservoir_leak_pct_day = 0;
  bool level_stuck = false;
  std::array<LineWear, static_cast<std::size_t>(lines_max)> lines;
};

// Severity 0 is new; what 1 means stands with each cause in machine.cpp.
void wear_by(Wear& wear, const FaultPlan& fault, double severity, const StationPlan& plan);

// 0 before the onset; 1 at its end of life. Sudden: 1 from the onset. Wear goes no further than `progress_most`.
inline constexpr double progress_most = 1.4;
[[nodiscard]] double progress_of(const FaultPlan& fault, double day);

struct VentFigures {
  double constant_s = 8;
  double floor_bar = 0;  // at the sensor
};

class Machine {
 public:
  explicit Machine(const StationPlan& plan);

  // `air_cm3` is the free air in the line beyond what it always holds. `line` counts from 0.
  [[nodiscard]] TurnInput turn(int line, double grease_c, const Wear& wear, double air_cm3, double start_bar) const;
  [[nodiscard]] VentFigures vent(int line, double grease_c, const Wear& wear, double air_cm3) const;
  [[nodiscard]] const std::vector<Device>& devices(int line) const { return devices_[static_cast<std::size_t>(line)]; }

  // Smallest severity at which a turn fails at this temperature: target not met in time or too much held. 0: none does.
  [[nodiscard]] double severity_to_fail(const FaultPlan& fault, double grease_c) const;

 private:
  struct AtTemperature {
    double drop_bar = 0;
    double floor_bar = 0;
    double stiffness = 1;  // consistency over that at 20 C
  };
  [[nodiscard]] AtTemperature at(std::size_t line, double grease_c) const;

  StationPlan plan_;
  std::vector<std::vector<Device>> devices_;
  std::vector<std::vector<AtTemperature>> table_;  // by line, each degree
};

// Pressure of a line that was vented: falls fast, then slowly, towards its floor.
struct Venting {
  double from_s = 0;
  double from_bar = 0;
  VentFigures figures;
  [[nodiscard]] double bar(double at_s) const;
  // From `from_s` until at or below `limit_bar`; negative: not within `within_s`.
  [[nodiscard]] double until_s(double limit_bar, double within_s) const;
};

}  // namespace driftline::simulate
