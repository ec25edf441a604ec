// A condition on its way to a warning: held from the first turn that shows it until enough calm turns have passed.
//
// Raising is the rule's business (its decision interval already is the guard). Falling back is not: a figure that hovers at
// its limit must not flap. So a condition is let go only after `calm_turns_to_clear` turns in a row that say "calm", where
// calm is a stricter question than "no longer over the limit"; and urgency falls only after as many turns of less urgency,
// but rises at once.
#pragma once

#include <cstdint>
#include <optional>

#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr int calm_turns_to_clear = 6;
inline constexpr int turns_to_relax = 8;

struct Held {
  bool on = false;
  Urgency urgency = Urgency::notice;
  std::uint8_t calm = 0;
  std::uint8_t relaxed = 0;
  Time since{};
  bool operator==(const Held&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(on, urgency, calm, relaxed, since);
  }
};

struct Opinion {
  bool over = false;   // the condition is present
  bool calm = true;    // well back in order
  Urgency urgency = Urgency::notice;
};

enum class Step : std::uint8_t { nothing, raised, kept, let_go };

inline Step settle(Held& held, const Opinion& opinion, Time time, int calm_needed = calm_turns_to_clear) {
  if (!held.on) {
    if (!opinion.over) return Step::nothing;
    held = {.on = true, .urgency = opinion.urgency, .since = time};
    return Step::raised;
  }
  held.calm = opinion.calm ? static_cast<std::uint8_t>(held.calm + 1) : std::uint8_t{0};
  if (held.calm >= calm_needed) {
    held = {};
    return Step::let_go;
  }
  if (opinion.over && opinion.urgency > held.urgency) {
    held.urgency = opinion.urgency;
    held.relaxed = 0;
  } else if (opinion.urgency < held.urgency) {
    if (++held.relaxed >= turns_to_relax) {
      held.urgency = opinion.urgency;
      held.relaxed = 0;
    }
  } else {
    held.relaxed = 0;
  }
  return Step::kept;
}

}  // namespace driftline::rules
