// The life of a warning as it lies in the history, and a person's act on it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "rules/records/identity.h"
#include "rules/records/warning.h"
#include "rules/warnings/life.h"

namespace driftline::history {

// Which warning: the same one is raised and cleared again and again.
struct WarningRef {
  StationId station{};
  std::optional<int> line{};  // empty: the whole station
  Condition condition = Condition::slow_to_pressure;
  auto operator<=>(const WarningRef&) const = default;
};
[[nodiscard]] inline WarningRef ref_of(const WarningChange& change) { return {change.station, change.line, change.condition}; }

// A warning that is not plainly normal, with the last that the machine said of it (text, causes, forecast). Age: now less
// life.raised. Owner: life.owner.
struct LifeRow {
  rules::Life life;
  WarningChange last;
  bool operator==(const LifeRow&) const = default;
};

// One change in the life of a warning, whoever caused it. Never changed afterwards.
struct LifeChange {
  Time time{};  // of the machine: event time; of people and of a shelf's end: the gateway's clock
  WarningRef warning{};
  rules::LifeEvent event = rules::LifeEvent::note;
  rules::LifeState before = rules::LifeState::normal;
  rules::LifeState after = rules::LifeState::normal;
  Urgency urgency = Urgency::notice;
  Time raised{};
  std::string who{};             // of people; the owner after the change is `owner`
  std::string why{};
  std::string via{};             // "page", "link", "mqtt", "command-line"
  std::string owner{};
  std::optional<Time> until{};   // of a shelf
  std::int64_t warning_id = 0;  // the row of the machine's last word on it, in feed warnings
  std::string request{};        // the id under which a person's act was asked for; empty: none was given
  bool operator==(const LifeChange&) const = default;
};

// What a person does to a warning; taken by History::act, wherever it comes from.
struct Act {
  Time time{};  // the gateway's clock
  WarningRef warning{};
  rules::LifeEvent what = rules::LifeEvent::acknowledge;  // of people only (rules::act_named)
  std::string who{};                                        // 1 to 80 characters
  std::string why{};                                        // may be empty, except for a note
  std::string via{};                                        // of the program: "page", "link", "mqtt", "command-line"
  std::optional<Time> until{};                              // shelve
  std::optional<Time> raised{};                             // if given: only this raise of the warning
  std::string request{};                                    // an id: the same act asked for again under it is done once
};

struct ActOutcome {
  rules::ActAnswer answer = rules::ActAnswer::done;
  rules::Life life;            // after it
  std::int64_t change_id = 0;  // of its row in feed life_changes; 0: nothing was stored
  bool repeated = false;       // it was done under the same request before; `life` is as it is now
  std::string text;            // a sentence for the person
};

inline constexpr std::size_t who_characters_max = 80;
inline constexpr std::size_t why_characters_max = 500;
inline constexpr std::size_t request_characters_max = 128;  // printable ASCII without spaces

}  // namespace driftline::history
