// The life of a warning, in the states of the open alarm-management standards (ANSI/ISA-18.2, IEC 62682; letters in brackets):
//
//   normal (A), unacknowledged (B), acknowledged (C), returned-unacknowledged (D), latched-unacknowledged (E),
//   latched-acknowledged (F), shelved (G), suppressed (H, by design), out-of-service (I).
//
// What the machine does (`raised`, `urgency-changed`, `cleared`) and what people did are kept apart, so that nothing of either is
// lost while the warning is shelved, suppressed or out of service: the state is worked out from both (`state_of`).
//
// Choices that the standards leave to the user, each with its reason:
// - An urgency that rises makes the warning unacknowledged: who acknowledged a note has not heard of an `act`.
// - It also ends a shelf that was set at a lower urgency: somebody shelved what was known then.
// - Suppression by design (the warning's station is silent) never hides `act`, and a warning that was acknowledged before it is so
//   after it: a radio that drops out must not ring everybody again. After a shelf or out of service an active warning is
//   unacknowledged.
// - Normal warnings can be shelved and taken out of service too: for work that is planned.
//
// Pure; the transitions are held against the table of the standards in tests/unit/warnings/life_test.cpp.
#pragma once

#include <array>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::rules {

enum class LifeState : std::uint8_t {
  normal,
  unacknowledged,
  acknowledged,
  returned_unacknowledged,
  latched_unacknowledged,
  latched_acknowledged,
  shelved,
  suppressed,
  out_of_service,
};
inline constexpr std::size_t life_state_count = 9;

enum class LifeEvent : std::uint8_t {
  raised,  // of the machine
  urgency_changed,
  cleared,
  suppress,  // of the design: the station fell silent
  unsuppress,
  shelf_ended,  // of time
  acknowledge,  // of people
  shelve,
  unshelve,
  reset,  // a latched warning, once acknowledged
  take_out_of_service,
  return_to_service,
  note,  // words only
};
inline constexpr std::size_t life_event_count = 13;

[[nodiscard]] inline constexpr bool of_people(LifeEvent event) { return event >= LifeEvent::acknowledge; }

// What became of an act. Only `done` has changed or stored anything.
enum class ActAnswer : std::uint8_t {
  done,
  already,            // it was so before
  not_open,           // there is nothing to acknowledge or to reset
  acknowledge_first,  // a latched warning is reset only once somebody has acknowledged it
  end_missing,        // a shelf has an end
  end_past,
  end_too_far,        // LifeSettings
  unknown_warning,    // was never raised
  another_raise,      // the act was meant for an earlier raise of this warning
  unfit_text,         // who or why: empty, too long, controls, not UTF-8
  request_used,       // the id of the request stands for another act
};
inline constexpr std::size_t act_answer_count = 11;

struct LifeSettings {
  std::array<bool, condition_count> latching{};  // by Condition: stays in view after its return until it is reset
  std::chrono::hours shelf_longest_notice{24 * 90};
  std::chrono::hours shelf_longest_plan{24 * 14};
  std::chrono::hours shelf_longest_act{24};
  bool operator==(const LifeSettings&) const = default;
};

struct Shelf {
  Time until{};
  std::string who;
  Urgency urgency = Urgency::notice;  // known when it was shelved; more than this ends the shelf
  bool operator==(const Shelf&) const = default;
};

struct Life {
  bool active = false;       // the condition holds
  bool acknowledged = true;  // somebody has seen what there is
  bool latched = false;      // has returned, waits for its reset
  Urgency urgency = Urgency::notice;
  Time raised{};             // when it last became active
  std::string owner;         // who acknowledged; empty: nobody has it
  std::optional<Shelf> shelf;
  bool suppressed = false;   // its station is silent
  std::string out_of_service_by;  // empty: in service
  bool operator==(const Life&) const = default;
};

struct LifeInput {
  LifeEvent event = LifeEvent::note;
  Time time{};
  Urgency urgency = Urgency::notice;  // raised, urgency_changed
  std::string who{};                  // of people
  std::optional<Time> until{};        // shelve
};

struct LifeStep {
  Life life;
  ActAnswer answer = ActAnswer::done;
};

[[nodiscard]] LifeStep step(const Life& life, const LifeInput& input, Condition condition, const LifeSettings& settings);
[[nodiscard]] LifeState state_of(const Life& life);
// When `shelf_ended` is due.
[[nodiscard]] inline std::optional<Time> wake_at(const Life& life) {
  return life.shelf ? std::optional{life.shelf->until} : std::nullopt;
}
// Nothing of it needs to be remembered.
[[nodiscard]] bool is_plain_normal(const Life& life);

[[nodiscard]] std::string_view name_of(LifeState);
[[nodiscard]] std::string_view name_of(LifeEvent);
[[nodiscard]] std::string_view name_of(ActAnswer);
[[nodiscard]] std::optional<LifeEvent> act_named(std::string_view);  // of people only: "acknowledge", "shelve", ...

// For the person who acted: one sentence.
[[nodiscard]] std::string answer_text(ActAnswer answer, const Life& life);

}  // namespace driftline::rules
