// What reconstruction hands to the rules, in the order in which it was settled.
#pragma once

#include <optional>
#include <string>
#include <variant>

#include "rules/records/half_cycle.h"
#include "rules/records/settings.h"
#include "rules/records/time.h"

namespace driftline {

// A thinned reading of the reservoir. Raw: noise, steps and a stuck sensor are still in it.
struct LevelReading {
  Time time{};
  std::optional<double> level_pct;
  std::optional<bool> level_low;   // the low-level switch is made
  std::optional<double> temp_c;
  bool at_rest = true;             // the pump was not running
  bool operator==(const LevelReading&) const = default;
};

enum class ServiceKind : std::uint8_t { refilled, repaired, purged, settings_changed, out_of_service, back_in_service };

// What a person did.
struct ServiceNote {
  Time time{};
  ServiceKind kind = ServiceKind::refilled;
  std::optional<int> line;  // empty: the whole station
  std::string note;
  std::string by{};         // who says so; empty: not told
  bool operator==(const ServiceNote&) const = default;
};

// The controller announced settings other than those before.
struct SettingsChange {
  Time time{};
  ControllerSettings before;
  ControllerSettings after;
  bool operator==(const SettingsChange&) const = default;
};

struct PresenceChange {
  Time time{};
  bool online = true;
  bool operator==(const PresenceChange&) const = default;
};

// A pressure reading that cannot be, or a sensor that gives nothing.
enum class SensorTrouble : std::uint8_t { missing, out_of_range, stuck };
struct SensorReport {
  Time time{};
  std::optional<int> line;  // empty: the level sensor
  SensorTrouble trouble = SensorTrouble::missing;
  bool over = false;        // the trouble has ended
  bool operator==(const SensorReport&) const = default;
};

// Something was heard of the station at all; at most one a minute. `received` is the gateway's clock, `time` the station's.
struct Heartbeat {
  Time received{};
  Time time{};
  bool operator==(const Heartbeat&) const = default;
};

// A message came of which nothing could be used; at most one a minute. The station is heard, but not understood.
struct UnusableMessage {
  Time received{};
  bool operator==(const UnusableMessage&) const = default;
};

using StationEvent = std::variant<HalfCycle, LevelReading, ServiceNote, SettingsChange, PresenceChange, SensorReport, Heartbeat,
                                  UnusableMessage>;

}  // namespace driftline
