#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using rules::LifeEvent;
using std::chrono::hours;
using std::chrono::minutes;

std::vector<std::string> people_of(const std::vector<MessageRow>& rows) {
  std::vector<std::string> people;
  for (const MessageRow& row : rows) people.push_back(std::string(name_of(row.kind)) + " " + row.person);
  return people;
}
using Told = std::vector<std::string>;

// Nobody answers: the next in turn must hear of it, round after round, and not everybody at once.
TEST(Plan, without_an_answer_the_next_is_told_and_an_answer_ends_it) {
  WarnedPlant plant;
  const DutyList duty = duty_list();
  const Time t = monday_noon;
  plant.say(word(1, Change::raised, Urgency::act, t));
  EXPECT_EQ(people_of(plant.plan_at(duty, t)), Told{"news anna"});
  plant.all_sent(t);
  EXPECT_EQ(people_of(plant.plan_at(duty, t + minutes{14})), Told{});
  EXPECT_EQ(people_of(plant.plan_at(duty, t + minutes{15})), Told{"reminder ben"});
  EXPECT_EQ(people_of(plant.plan_at(duty, t + minutes{15})), Told{}) << "asked twice it must say nothing new";
  plant.all_sent(t);
  EXPECT_EQ(people_of(plant.plan_at(duty, t + minutes{30})), Told{"reminder anna"});
  plant.all_sent(t);
  plant.act(1, LifeEvent::acknowledge, "ben", t + minutes{31});
  EXPECT_EQ(people_of(plant.plan_at(duty, t + hours{9})), Told{"taken anna"}) << "an answer says who has it";
}

// A gateway that was down for hours must not ring the whole list at its start.
TEST(Plan, after_a_long_stop_it_goes_on_where_it_was) {
  WarnedPlant plant;
  const DutyList duty = duty_list();
  plant.say(word(1, Change::raised, Urgency::act, monday_noon));
  plant.plan_at(duty, monday_noon);
  plant.open();
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{5})), Told{"reminder ben"});
}

// What is shelved, suppressed or out of service says nothing; when it comes back it is told.
TEST(Plan, a_shelved_warning_is_silent_until_its_end_also_over_a_restart) {
  WarnedPlant plant;
  const DutyList duty = duty_list();
  plant.say(word(1, Change::raised, Urgency::plan, monday_noon));
  plant.history->act({.time = monday_noon, .warning = {{"northyard", "ps-1"}, 2, Condition::slow_to_pressure}, .what = LifeEvent::shelve, .who = "anna", .why = "", .via = "page", .until = monday_noon + hours{2}}).value();
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{1})), Told{});
  plant.open();
  (void)plant.history->tend(monday_noon + hours{1});
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{1})), Told{});
  (void)plant.history->tend(monday_noon + hours{2});
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{2})), Told{"news anna"});
}

// Who was told that it began must hear that it has ended, and only who was told.
TEST(Plan, the_end_is_told_to_those_who_were_told) {
  WarnedPlant plant;
  const DutyList duty = duty_list();
  plant.say(word(1, Change::raised, Urgency::plan, monday_noon));
  plant.plan_at(duty, monday_noon);
  plant.all_sent(monday_noon);
  plant.say(word(1, Change::cleared, Urgency::plan, monday_noon + hours{1}));
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{1})), Told{"over anna"});
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{2})), Told{});
}

// A figure that hovers would send a message an hour; the same as an act is always news.
TEST(Plan, what_flaps_folds_but_never_an_act) {
  WarnedPlant plant;
  const DutyList duty = duty_list();
  for (int i = 0; i < 5; ++i) {
    const Time t = monday_noon + hours{i};
    plant.say(word(1, Change::raised, Urgency::plan, t));
    EXPECT_EQ(people_of(plant.plan_at(duty, t)), i == 0 ? Told{"news anna"} : Told{}) << i;
    plant.say(word(1, Change::cleared, Urgency::plan, t + minutes{30}));
  }
  plant.say(word(1, Change::raised, Urgency::act, monday_noon + hours{5}));
  EXPECT_EQ(people_of(plant.plan_at(duty, monday_noon + hours{5})), Told{"news anna"});
}

// Quiet hours hold back what can wait, and nothing else; an urgency that rises is news at once.
TEST(Plan, quiet_hours_hold_back_all_but_an_act) {
  WarnedPlant plant;
  DutyList duty = duty_list();
  duty.quiet = Hours{.from_min = 12 * 60, .to_min = 18 * 60};
  plant.say(word(1, Change::raised, Urgency::plan, monday_noon));
  const auto held = plant.plan_at(duty, monday_noon);
  ASSERT_EQ(held.size(), 1U);
  EXPECT_EQ(held[0].due, monday_noon + hours{6});
  plant.say(word(1, Change::urgency_changed, Urgency::act, monday_noon + hours{1}));
  const auto act = plant.plan_at(duty, monday_noon + hours{1});
  ASSERT_EQ(people_of(act), Told{"news anna"});
  EXPECT_EQ(act[0].due, monday_noon + hours{1});
}

// "No message means no trouble" holds only if the digest comes each day and says how many stations were watched.
TEST(Plan, the_digest_comes_once_a_local_day) {
  const DutyList duty = duty_list();
  EXPECT_EQ(digest_due(duty, {}, monday_noon - hours{6}), std::nullopt) << "before its hour";
  EXPECT_EQ(digest_due(duty, {}, monday_noon), "2026-01-12");
  std::vector<KeptMessage> told;
  for (const MessageRow& row : of_itself(duty, {"digest|2026-01-12", "subject", "body"}, monday_noon)) told.push_back({row, {}});
  ASSERT_EQ(told.size(), 1U);
  EXPECT_EQ(told[0].row.kind, MessageKind::digest);
  EXPECT_EQ(digest_due(duty, told, monday_noon + hours{11}), std::nullopt);
  EXPECT_EQ(digest_due(duty, told, monday_noon + hours{24}), "2026-01-13");
}

}  // namespace
}  // namespace driftline::messages
