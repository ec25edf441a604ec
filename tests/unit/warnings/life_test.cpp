// The states and transitions of the open alarm-management standards (ANSI/ISA-18.2 figure of the alarm state transitions, IEC 62682
// alike; letters from memory): normal A, unacknowledged B, acknowledged C, returned unacknowledged D, latched E and F, shelved G,
// suppressed by design H, out of service I.
#include "rules/warnings/life.h"

#include <gtest/gtest.h>

namespace driftline::rules {
namespace {

using std::chrono::hours;

const Time start = time_from_ms(1'772'517'600'000);
constexpr Condition condition = Condition::slow_to_pressure;

LifeInput by_machine(LifeEvent event, Urgency urgency = Urgency::plan) { return {event, start, urgency, "", {}}; }
LifeInput by_person(LifeEvent event, std::optional<Time> until = {}) { return {event, start, Urgency::notice, "anna", until}; }

// A life after these events, each of which must be taken.
Life lived(std::initializer_list<LifeInput> inputs, const LifeSettings& settings = {}) {
  Life life;
  for (const LifeInput& input : inputs) {
    const LifeStep stepped = step(life, input, condition, settings);
    EXPECT_EQ(stepped.answer, ActAnswer::done) << name_of(input.event);
    life = stepped.life;
  }
  return life;
}

LifeState after(std::initializer_list<LifeInput> inputs, const LifeSettings& settings = {}) { return state_of(lived(inputs, settings)); }

LifeSettings latching() {
  LifeSettings settings;
  settings.latching[static_cast<std::size_t>(condition)] = true;
  return settings;
}

const LifeInput raised = by_machine(LifeEvent::raised);
const LifeInput cleared = by_machine(LifeEvent::cleared);
const LifeInput acknowledged = by_person(LifeEvent::acknowledge);
const LifeInput shelved = by_person(LifeEvent::shelve, start + hours{24});

// A warning that nobody saw would pass for one that is in hand, or the other way round.
TEST(WarningLife, goes_the_ways_of_the_standard) {
  EXPECT_EQ(after({}), LifeState::normal);                                                                   // A
  EXPECT_EQ(after({raised}), LifeState::unacknowledged);                                                     // A to B
  EXPECT_EQ(after({raised, acknowledged}), LifeState::acknowledged);                                         // B to C
  EXPECT_EQ(after({raised, acknowledged, cleared}), LifeState::normal);                                      // C to A
  EXPECT_EQ(after({raised, cleared}), LifeState::returned_unacknowledged);                                   // B to D
  EXPECT_EQ(after({raised, cleared, acknowledged}), LifeState::normal);                                      // D to A
  EXPECT_EQ(after({raised, cleared, raised}), LifeState::unacknowledged);                                    // D to B
  EXPECT_EQ(after({raised, acknowledged, by_machine(LifeEvent::urgency_changed, Urgency::act)}), LifeState::unacknowledged);  // C to B
  EXPECT_EQ(after({raised, cleared}, latching()), LifeState::latched_unacknowledged);                        // B to E
  EXPECT_EQ(after({raised, cleared, acknowledged}, latching()), LifeState::latched_acknowledged);            // E to F
  EXPECT_EQ(after({raised, cleared, acknowledged, by_person(LifeEvent::reset)}, latching()), LifeState::normal);  // F to A
  EXPECT_EQ(after({raised, cleared, raised}, latching()), LifeState::unacknowledged);                        // E to B
  EXPECT_EQ(after({raised, shelved}), LifeState::shelved);                                                   // to G
  EXPECT_EQ(after({raised, acknowledged, shelved, by_person(LifeEvent::unshelve)}), LifeState::unacknowledged);  // and back
  EXPECT_EQ(after({raised, shelved, cleared, by_person(LifeEvent::unshelve)}), LifeState::returned_unacknowledged);
  EXPECT_EQ(after({raised, by_machine(LifeEvent::suppress)}), LifeState::suppressed);                        // to H
  EXPECT_EQ(after({raised, by_machine(LifeEvent::suppress), by_machine(LifeEvent::unsuppress)}), LifeState::unacknowledged);
  EXPECT_EQ(after({raised, by_person(LifeEvent::take_out_of_service)}), LifeState::out_of_service);          // to I
  EXPECT_EQ(after({raised, by_person(LifeEvent::take_out_of_service), by_person(LifeEvent::return_to_service)}), LifeState::unacknowledged);
}

// Who acknowledged a note would sleep through an act.
TEST(WarningLife, more_urgency_ends_a_shelf_and_an_acknowledgement_and_less_does_not) {
  const LifeInput worse = by_machine(LifeEvent::urgency_changed, Urgency::act);
  const LifeInput better = by_machine(LifeEvent::urgency_changed, Urgency::notice);
  EXPECT_EQ(after({raised, shelved, worse}), LifeState::unacknowledged);
  EXPECT_EQ(after({raised, shelved, better}), LifeState::shelved);
  EXPECT_EQ(after({raised, acknowledged, better}), LifeState::acknowledged);
  EXPECT_EQ(after({raised, by_machine(LifeEvent::suppress), worse}), LifeState::unacknowledged);
}

// A warning that is put away for ever is a warning that is switched off.
TEST(WarningLife, a_shelf_has_an_end_that_its_urgency_allows) {
  const Life life = lived({raised});
  EXPECT_EQ(step(life, by_person(LifeEvent::shelve), condition, {}).answer, ActAnswer::end_missing);
  EXPECT_EQ(step(life, by_person(LifeEvent::shelve, start), condition, {}).answer, ActAnswer::end_past);
  EXPECT_EQ(step(life, by_person(LifeEvent::shelve, start + hours{24 * 14} + hours{1}), condition, {}).answer, ActAnswer::end_too_far);
  const Life on_shelf = lived({raised, shelved});
  EXPECT_EQ(wake_at(on_shelf), start + hours{24});
  LifeInput early = by_machine(LifeEvent::shelf_ended);
  EXPECT_EQ(step(on_shelf, early, condition, {}).answer, ActAnswer::already);
  early.time = start + hours{24};
  EXPECT_EQ(state_of(step(on_shelf, early, condition, {}).life), LifeState::unacknowledged);
}

TEST(WarningLife, the_owner_is_who_acknowledged_and_only_as_long) {  // the wrong person would be asked
  EXPECT_EQ(lived({raised}).owner, "");
  EXPECT_EQ(lived({raised, acknowledged}).owner, "anna");
  EXPECT_EQ(lived({raised, acknowledged, cleared}).owner, "");
  EXPECT_EQ(lived({raised, acknowledged, cleared, raised}).owner, "");
}

TEST(WarningLife, an_act_that_does_not_fit_changes_nothing) {  // two people who press at once must not undo each other
  const Life life = lived({raised, acknowledged});
  for (const LifeEvent event : {LifeEvent::acknowledge, LifeEvent::unshelve, LifeEvent::reset, LifeEvent::return_to_service}) {
    const LifeStep stepped = step(life, by_person(event), condition, {});
    EXPECT_NE(stepped.answer, ActAnswer::done);
    EXPECT_EQ(stepped.life, life);
  }
  EXPECT_EQ(step(Life{}, acknowledged, condition, {}).answer, ActAnswer::not_open);
  EXPECT_EQ(step(lived({raised, cleared}, latching()), by_person(LifeEvent::reset), condition, latching()).answer, ActAnswer::acknowledge_first);
}

TEST(WarningLife, each_word_is_that_of_one_state_event_or_answer) {  // stored words must read back
  for (std::size_t i = 0; i < life_event_count; ++i) {
    const auto event = static_cast<LifeEvent>(i);
    EXPECT_EQ(act_named(name_of(event)), of_people(event) ? std::optional(event) : std::nullopt) << name_of(event);
  }
  for (std::size_t i = 0; i < life_state_count; ++i) EXPECT_NE(name_of(static_cast<LifeState>(i)), "");
  for (std::size_t i = 0; i < act_answer_count; ++i) EXPECT_NE(answer_text(static_cast<ActAnswer>(i), {}), "");
}

}  // namespace
}  // namespace driftline::rules
