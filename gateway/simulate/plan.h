// What a simulated plant is and what befalls it: data only. Drawn from a seed (invent.h) or read from JSON (plan_text.h).
// Days count from the start of the simulation.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "rules/hydraulics/grease.h"
#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::simulate {

struct ColdSpell {
  double from_day = 0;
  double days = 3;
  double depth_c = 15;  // under what the season would have been
  bool operator==(const ColdSpell&) const = default;
};

struct Climate {
  double mean_c = 12;      // at the start
  double trend_c_day = 0;  // the season's drift
  double day_swing_c = 5;  // half the difference of afternoon and dawn
  double front_c = 3;      // standard deviation of the weather's wandering
  double front_days = 2.5; // its memory
  std::vector<ColdSpell> cold_spells;
  bool operator==(const Climate&) const = default;
};

struct SitePlan {
  std::string name;
  Climate climate;
  bool operator==(const SitePlan&) const = default;
};

enum class Form : std::uint8_t { sudden, linear, accelerating };

struct FaultPlan {
  Cause kind = Cause::slow_leak;
  Form form = Form::linear;
  int line = 1;             // where a line is meant
  double onset_day = 30;
  double life_days = 20;    // gradual: onset to the station's own failure; power, link, outside pressure: how long it lasts
  double severity = 0;      // sudden: share of what makes the station fail; 0: drawn
  double repaired_day = 0;  // 0: nobody comes
  bool told = true;         // the repair is announced
  bool operator==(const FaultPlan&) const = default;
};

struct LinePlan {
  double length_m = 15;
  double bore_mm = 12;
  int devices = 20;
  double charges_cm3 = 40;
  double expansion_cm3_per_m_per_bar = 0.004;  // hoses and pipes together
  double free_air_cm3 = 2;
  double opening_bar = 62;                      // of the middle device
  double opening_spread_bar = 6;
  double sensor_at = 0.05;                      // 0 at the pump, 1 at the line's end
  bool operator==(const LinePlan&) const = default;
};

// How the controller measures and speaks.
struct SenderPlan {
  double fast_s = 1;
  double rest_s = 60;
  double tail_s = 90;      // fast after the pump's stop
  bool edge = false;       // a sample at the very start and stop
  bool pump = true;
  bool line = true;
  bool level = true;
  bool low_switch = true;
  bool temp = true;
  bool seq = true;
  bool time_as_ms = false;
  int utc_offset_min = 0;
  double quantum_bar = 0.1;
  double noise_bar = 0.2;
  double level_quantum_pct = 1;
  double level_noise_pct = 0.3;
  double temp_bias_c = 0;
  double batch_s = 0;      // > 0: samples are sent together
  double latency_s = 0.15;
  double drop = 0.0005;
  double duplicate = 0.001;
  double late = 0.001;     // share that comes up to late_s behind
  double late_s = 8;
  bool announce = true;    // settings topic
  bool presence = true;
  double malformed_per_day = 0.02;
  bool operator==(const SenderPlan&) const = default;
};

enum class OutageKind : std::uint8_t { lost, batched, backfilled };

struct Outage {
  double from_day = 0;
  double hours = 1;
  OutageKind kind = OutageKind::batched;
  bool operator==(const Outage&) const = default;
};

struct PowerCut {
  double from_day = 0;
  double hours = 0.01;
  bool operator==(const PowerCut&) const = default;
};

struct ClockStep {
  double at_day = 0;
  double step_s = 30;
  bool operator==(const ClockStep&) const = default;
};

// Announced on the settings topic, unlike the fault of the same name.
struct SettingsStep {
  double at_day = 0;
  double target_factor = 1;
  double cycle_factor = 1;
  bool operator==(const SettingsStep&) const = default;
};

struct PeoplePlan {
  double refill_under_pct = 20;
  double refill_told = 0.4;         // share of refills that are announced
  double manual_starts_per_day = 0.02;
  double commissioning_days = 0;    // air is purged with many manual turns
  bool operator==(const PeoplePlan&) const = default;
};

struct StationPlan {
  std::string site;
  std::string name;
  std::uint64_t seed = 1;
  std::vector<LinePlan> lines;
  double cycle_s = 3600;
  double pump_limit_s = 240;
  double target_bar = 180;
  double residual_bar = 25;
  double delivery_cm3_min = 60;
  double reservoir_kg = 15;
  double density_kg_l = 0.9;
  double low_pct = 12;
  double empty_pct = 3;
  double start_level_pct = 80;
  double relief_bar = 260;
  double vent_constant_s = 8;  // at 20 C
  double suction_loss = 0.10;  // of the delivery, for each once that the grease is stiffer than at 20 C: the pump starves in the cold
  hydraulics::Grease grease;
  SenderPlan sender;
  PeoplePlan people;
  std::vector<Outage> outages;
  std::vector<PowerCut> power_cuts;
  std::vector<ClockStep> clock_steps;
  std::vector<SettingsStep> settings_steps;
  std::vector<FaultPlan> faults;
  bool operator==(const StationPlan&) const = default;
};

struct PlantPlan {
  std::string topic_root = "grease";
  std::uint64_t seed = 1;
  Time from{};
  double days = 90;
  std::vector<SitePlan> sites;
  std::vector<StationPlan> stations;
  bool operator==(const PlantPlan&) const = default;
};

}  // namespace driftline::simulate
