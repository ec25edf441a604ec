// What the rules of one station were fed, in order: enough to judge the same again with other thresholds.
#pragma once

#include <cstdint>
#include <limits>
#include <variant>

#include "rules/records/station_event.h"

namespace driftline {

// A half-cycle, which is kept elsewhere: the next one that the station told.
struct TurnTold {
  bool operator==(const TurnTold&) const = default;
};

using FedBody =
    std::variant<TurnTold, LevelReading, ServiceNote, SettingsChange, PresenceChange, SensorReport, Heartbeat,
                 UnusableMessage>;

// The position of what waiting has settled, and of what the end of a recording has.
inline constexpr std::uint64_t settled_by_waiting = 0;
inline constexpr std::uint64_t settled_by_the_end = std::numeric_limits<std::uint64_t>::max();

// `received` never goes back within a station. What waiting settled at R is judged before what R itself makes due; what a
// message or the end of a recording settled at R, after it.
struct FedEvent {
  Time received{};             // the gateway's clock at which it became known
  std::uint64_t position = 0;  // of the message that settled it, or one of the two above
  FedBody body;
  bool operator==(const FedEvent&) const = default;
};

}  // namespace driftline
