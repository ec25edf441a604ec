#include "rules/warnings/life.h"

#include "rules/records/time_text.h"

namespace driftline::rules {
namespace {

constexpr std::array<std::string_view, life_state_count> state_names{
    "normal",  "unacknowledged", "acknowledged", "returned-unacknowledged", "latched-unacknowledged", "latched-acknowledged",
    "shelved", "suppressed",     "out-of-service"};
constexpr std::array<std::string_view, life_event_count> event_names{
    "raised",   "urgency-changed", "cleared", "suppress",            "unsuppress",        "shelf-ended", "acknowledge", "shelve",
    "unshelve", "reset",           "take-out-of-service", "return-to-service", "note"};
constexpr std::array<std::string_view, act_answer_count> answer_names{
    "done",        "already",         "not-open",      "acknowledge-first", "end-missing", "end-past",
    "end-too-far", "unknown-warning", "another-raise", "unfit-text", "request-used"};

std::chrono::hours shelf_longest(const LifeSettings& settings, Urgency urgency) {
  switch (urgency) {
    case Urgency::notice: return settings.shelf_longest_notice;
    case Urgency::plan: return settings.shelf_longest_plan;
    case Urgency::act: return settings.shelf_longest_act;
  }
  return settings.shelf_longest_act;
}

// After a shelf or out of service people see anew what is there.
void come_back(Life& life) {
  if (!life.active) return;
  life.acknowledged = false;
  life.owner.clear();
}

void raise(Life& life, const LifeInput& input) {
  life.active = true;
  life.acknowledged = false;
  life.latched = false;
  life.owner.clear();
  life.raised = input.time;
  life.urgency = input.urgency;
}

void follow_urgency(Life& life, const LifeInput& input) {
  if (input.urgency > life.urgency) {
    life.acknowledged = false;
    life.owner.clear();
  }
  life.urgency = input.urgency;
}

void end_outgrown_shelf(Life& life) {
  if (life.shelf && life.active && life.urgency > life.shelf->urgency) life.shelf.reset();
}

ActAnswer clear(Life& life, bool latching) {
  if (!life.active) return ActAnswer::already;
  life.active = false;
  life.latched = latching;
  return ActAnswer::done;
}

ActAnswer acknowledge(Life& life, const LifeInput& input) {
  if (life.acknowledged) return life.active || life.latched ? ActAnswer::already : ActAnswer::not_open;
  life.acknowledged = true;
  life.owner = input.who;
  return ActAnswer::done;
}

ActAnswer shelve(Life& life, const LifeInput& input, const LifeSettings& settings) {
  if (!input.until) return ActAnswer::end_missing;
  if (*input.until <= input.time) return ActAnswer::end_past;
  const Urgency urgency = life.active ? life.urgency : Urgency::notice;
  if (*input.until - input.time > shelf_longest(settings, urgency)) return ActAnswer::end_too_far;
  life.shelf = Shelf{*input.until, input.who, urgency};
  return ActAnswer::done;
}

ActAnswer end_shelf(Life& life) {
  if (!life.shelf) return ActAnswer::already;
  life.shelf.reset();
  come_back(life);
  return ActAnswer::done;
}

ActAnswer reset_latched(Life& life) {
  if (!life.latched) return ActAnswer::not_open;
  if (!life.acknowledged) return ActAnswer::acknowledge_first;
  life.latched = false;
  life.owner.clear();
  return ActAnswer::done;
}

ActAnswer take_out(Life& life, const LifeInput& input) {
  if (!life.out_of_service_by.empty()) return ActAnswer::already;
  life.out_of_service_by = input.who;
  return ActAnswer::done;
}

ActAnswer bring_back(Life& life) {
  if (life.out_of_service_by.empty()) return ActAnswer::already;
  life.out_of_service_by.clear();
  come_back(life);
  return ActAnswer::done;
}

ActAnswer set_suppressed(Life& life, bool suppressed) {
  if (life.suppressed == suppressed) return ActAnswer::already;
  life.suppressed = suppressed;
  return ActAnswer::done;
}

ActAnswer apply(Life& life, const LifeInput& input, bool latching, const LifeSettings& settings) {
  switch (input.event) {
    case LifeEvent::raised:
      life.active ? follow_urgency(life, input) : raise(life, input);
      end_outgrown_shelf(life);
      return ActAnswer::done;
    case LifeEvent::urgency_changed:
      life.active ? follow_urgency(life, input) : raise(life, input);
      end_outgrown_shelf(life);
      return ActAnswer::done;
    case LifeEvent::cleared: return clear(life, latching);
    case LifeEvent::suppress: return set_suppressed(life, true);
    case LifeEvent::unsuppress: return set_suppressed(life, false);
    case LifeEvent::shelf_ended: return life.shelf && life.shelf->until <= input.time ? end_shelf(life) : ActAnswer::already;
    case LifeEvent::acknowledge: return acknowledge(life, input);
    case LifeEvent::shelve: return shelve(life, input, settings);
    case LifeEvent::unshelve: return end_shelf(life);
    case LifeEvent::reset: return reset_latched(life);
    case LifeEvent::take_out_of_service: return take_out(life, input);
    case LifeEvent::return_to_service: return bring_back(life);
    case LifeEvent::note: return ActAnswer::done;
  }
  return ActAnswer::already;
}

template <std::size_t N>
std::string_view at(const std::array<std::string_view, N>& names, std::size_t i) {
  return i < N ? names[i] : std::string_view{};
}

}  // namespace

LifeStep step(const Life& life, const LifeInput& input, Condition condition, const LifeSettings& settings) {
  LifeStep out{life, ActAnswer::done};
  out.answer = apply(out.life, input, settings.latching.at(static_cast<std::size_t>(condition)), settings);
  if (!out.life.active && !out.life.latched && out.life.acknowledged) out.life.owner.clear();
  return out;
}

LifeState state_of(const Life& life) {
  if (!life.out_of_service_by.empty()) return LifeState::out_of_service;
  if (life.shelf) return LifeState::shelved;
  if (life.suppressed && life.urgency != Urgency::act && life.active) return LifeState::suppressed;
  if (life.active) return life.acknowledged ? LifeState::acknowledged : LifeState::unacknowledged;
  if (life.latched) return life.acknowledged ? LifeState::latched_acknowledged : LifeState::latched_unacknowledged;
  return life.acknowledged ? LifeState::normal : LifeState::returned_unacknowledged;
}

bool is_plain_normal(const Life& life) {
  return !life.active && !life.latched && life.acknowledged && !life.shelf && life.out_of_service_by.empty();
}

std::string_view name_of(LifeState state) { return at(state_names, static_cast<std::size_t>(state)); }
std::string_view name_of(LifeEvent event) { return at(event_names, static_cast<std::size_t>(event)); }
std::string_view name_of(ActAnswer answer) { return at(answer_names, static_cast<std::size_t>(answer)); }

std::optional<LifeEvent> act_named(std::string_view name) {
  for (std::size_t i = 0; i < life_event_count; ++i) {
    const auto event = static_cast<LifeEvent>(i);
    if (of_people(event) && name_of(event) == name) return event;
  }
  return std::nullopt;
}

std::string answer_text(ActAnswer answer, const Life& life) {
  switch (answer) {
    case ActAnswer::done: return "Done. The warning is now " + std::string(name_of(state_of(life))) + ".";
    case ActAnswer::already:
      if (state_of(life) == LifeState::acknowledged && !life.owner.empty()) return "It was acknowledged before: " + life.owner + " has it.";
      return "It was so before: the warning is " + std::string(name_of(state_of(life))) + ".";
    case ActAnswer::not_open: return "There is nothing to do: the warning is not open any more.";
    case ActAnswer::acknowledge_first: return "Acknowledge it first, then reset it.";
    case ActAnswer::end_missing: return "A shelf needs an end.";
    case ActAnswer::end_past: return "The end of the shelf lies in the past.";
    case ActAnswer::end_too_far: return "The end of the shelf is further away than this urgency allows.";
    case ActAnswer::unknown_warning: return "No such warning was ever raised.";
    case ActAnswer::another_raise: return "That was an earlier warning; this one was raised " + rfc3339(life.raised) + ".";
    case ActAnswer::request_used: return "This id of a request stands for another act; give each act an id of its own.";
    case ActAnswer::unfit_text: return "Name and reason must be plain text, the name 1 to 80 characters, the reason at most 500.";
  }
  return {};
}

}  // namespace driftline::rules
