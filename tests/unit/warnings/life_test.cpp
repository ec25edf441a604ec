#include "rules/warnings/life.h"

#include <gtest/gtest.h>

namespace driftline::rules {
namespace {

using std::chrono::hours;
constexpr Condition condition = Condition::slow_to_pressure;
const Time start = time_from_ms(1'772'344'800'000);

LifeSettings latching() {
  LifeSettings settings;
  settings.latching[static_cast<std::size_t>(condition)] = true;
  return settings;
}

Life after(Life life, LifeEvent event, const LifeSettings& settings = {}, Urgency urgency = Urgency::plan, Time time = start) {
  return step(life, {.event = event, .time = time, .urgency = urgency, .who = "duty", .until = time + hours{2}}, condition, settings).life;
}

// Letters of ANSI/ISA-18.2 and IEC 62682 (their texts are not public). The label says how each row is known.
struct Row {
  const char* from;
  LifeEvent event;
  const char* to;
  bool latch;
  const char* label;
};
const Row table[]{
    {"normal", LifeEvent::raised, "unacknowledged", false, "READ-COPY"},
    {"unacknowledged", LifeEvent::acknowledge, "acknowledged", false, "READ-COPY"},
    {"unacknowledged", LifeEvent::cleared, "returned-unacknowledged", false, "READ-COPY"},
    {"acknowledged", LifeEvent::cleared, "normal", false, "READ-COPY"},
    {"returned-unacknowledged", LifeEvent::acknowledge, "normal", false, "MEMORY"},
    {"returned-unacknowledged", LifeEvent::raised, "unacknowledged", false, "MEMORY"},
    {"unacknowledged", LifeEvent::cleared, "latched-unacknowledged", true, "MEMORY"},
    {"acknowledged", LifeEvent::cleared, "latched-acknowledged", true, "MEMORY"},
    {"latched-unacknowledged", LifeEvent::acknowledge, "latched-acknowledged", true, "MEMORY"},
    {"latched-acknowledged", LifeEvent::reset, "normal", true, "MEMORY"},
    {"normal", LifeEvent::shelve, "shelved", false, "READ-COPY"},
    {"unacknowledged", LifeEvent::shelve, "shelved", false, "READ-COPY"},
    {"acknowledged", LifeEvent::shelve, "shelved", false, "READ-COPY"},
    {"returned-unacknowledged", LifeEvent::shelve, "shelved", false, "MEMORY"},
    {"unacknowledged", LifeEvent::suppress, "suppressed", false, "READ-COPY"},
    {"acknowledged", LifeEvent::suppress, "suppressed", false, "READ-COPY"},
    {"normal", LifeEvent::take_out_of_service, "out-of-service", false, "READ-COPY"},
    {"unacknowledged", LifeEvent::take_out_of_service, "out-of-service", false, "READ-COPY"},
    {"acknowledged", LifeEvent::take_out_of_service, "out-of-service", false, "MEMORY"},
    {"returned-unacknowledged", LifeEvent::take_out_of_service, "out-of-service", false, "MEMORY"},
};

Life life_in(std::string_view state, const LifeSettings& settings) {
  const Life raised = after({}, LifeEvent::raised, settings);
  const Life seen = after(raised, LifeEvent::acknowledge, settings);
  for (const Life& life : {Life{}, raised, seen, after(raised, LifeEvent::cleared, settings), after(seen, LifeEvent::cleared, settings)})
    if (name_of(state_of(life)) == state) return life;
  ADD_FAILURE() << state;
  return {};
}

// A state that people know from the standards but that moves otherwise would be acted upon wrongly.
TEST(Life, moves_as_the_table_of_the_standards_says) {
  for (const Row& row : table) {
    const LifeSettings settings = row.latch ? latching() : LifeSettings{};
    EXPECT_EQ(name_of(state_of(after(life_in(row.from, settings), row.event, settings))), row.to)
        << row.from << " " << name_of(row.event) << " (" << row.label << ")";
  }
}

// After a shelf or out of service: active is unacknowledged, else normal (MEMORY); a shelf ends at its end and not before.
TEST(Life, comes_back_from_a_shelf_and_out_of_service_by_the_condition) {
  const Life seen = life_in("acknowledged", {});
  for (const auto& [in, out] : {std::pair{LifeEvent::shelve, LifeEvent::unshelve}, std::pair{LifeEvent::take_out_of_service, LifeEvent::return_to_service}}) {
    EXPECT_EQ(state_of(after(after(seen, in), out)), LifeState::unacknowledged);
    EXPECT_EQ(state_of(after(after(after(seen, in), LifeEvent::cleared), out)), LifeState::normal);
  }
  const Life shelved = after(seen, LifeEvent::shelve);
  EXPECT_EQ(wake_at(shelved), start + hours{2});
  EXPECT_EQ(state_of(after(shelved, LifeEvent::shelf_ended, {}, Urgency::plan, start + hours{1})), LifeState::shelved);
  EXPECT_EQ(state_of(after(shelved, LifeEvent::shelf_ended, {}, Urgency::plan, start + hours{2})), LifeState::unacknowledged);
}

// Who acknowledged or shelved a note has not heard of an `act`: it must not stay quiet.
TEST(Life, a_rise_of_urgency_is_news) {
  const Life seen = life_in("acknowledged", {});
  EXPECT_EQ(state_of(after(seen, LifeEvent::urgency_changed, {}, Urgency::act)), LifeState::unacknowledged);
  EXPECT_EQ(state_of(after(seen, LifeEvent::urgency_changed, {}, Urgency::notice)), LifeState::acknowledged);
  const Life shelved = after(seen, LifeEvent::shelve);
  EXPECT_EQ(state_of(after(shelved, LifeEvent::urgency_changed, {}, Urgency::act)), LifeState::unacknowledged);
  EXPECT_EQ(state_of(after(shelved, LifeEvent::urgency_changed, {}, Urgency::notice)), LifeState::shelved);
  const Life suppressed = after(seen, LifeEvent::suppress);
  EXPECT_EQ(state_of(after(suppressed, LifeEvent::urgency_changed, {}, Urgency::act)), LifeState::unacknowledged);
  EXPECT_EQ(state_of(after(suppressed, LifeEvent::unsuppress)), LifeState::acknowledged);
}

// A shelf without an end, or for ever, is a warning that nobody sees again.
TEST(Life, a_shelf_has_an_end_and_a_limit) {
  const Life raised = after({}, LifeEvent::raised, {}, Urgency::act);
  const auto answer = [&](std::optional<Time> until) {
    return step(raised, {.event = LifeEvent::shelve, .time = start, .who = "duty", .until = until}, condition, {}).answer;
  };
  EXPECT_EQ(answer(std::nullopt), ActAnswer::end_missing);
  EXPECT_EQ(answer(start), ActAnswer::end_past);
  EXPECT_EQ(answer(start + hours{24}), ActAnswer::done);
  EXPECT_EQ(answer(start + hours{25}), ActAnswer::end_too_far);
}

// Whatever comes in whatever order: acts that are answered with anything but done leave everything as it was.
TEST(Life, what_is_not_done_changes_nothing) {
  unsigned seed = 7;
  for (const LifeSettings& settings : {LifeSettings{}, latching()}) {
    Life life;
    for (int i = 0; i < 20'000; ++i) {
      seed = seed * 1'103'515'245U + 12'345U;
      const auto event = static_cast<LifeEvent>((seed >> 16) % life_event_count);
      const auto urgency = static_cast<Urgency>((seed >> 8) % 3);
      const LifeStep next = step(life, {.event = event, .time = start, .urgency = urgency, .who = "duty", .until = start + hours{1}}, condition, settings);
      if (next.answer != ActAnswer::done) {
        ASSERT_EQ(next.life, life) << name_of(event);
      }
      if (!next.life.active && state_of(next.life) == LifeState::normal) {
        ASSERT_TRUE(is_plain_normal(next.life)) << name_of(event);
      }
      life = next.life;
    }
  }
}

}  // namespace
}  // namespace driftline::rules
