#include "gateway/messages/duty.h"

#include <gtest/gtest.h>

#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

Time at(const char* text) { return *parse_rfc3339(text); }

// On the nights when clocks are set people would be told an hour early or late. The European rule (last Sunday of March and of
// October, 01:00 UTC) stands in EU directive 2000/84/EC; from memory.
TEST(Duty, local_hours_follow_daylight_saving) {
  const std::string zone = "Europe/Berlin";
  EXPECT_EQ(local_of(at("2026-03-29T00:59:00Z"), zone).minute, 1 * 60 + 59);
  EXPECT_EQ(local_of(at("2026-03-29T01:00:00Z"), zone).minute, 3 * 60);
  EXPECT_EQ(local_of(at("2026-10-25T00:30:00Z"), zone).minute, 2 * 60 + 30);
  EXPECT_EQ(local_of(at("2026-10-25T01:30:00Z"), zone).minute, 2 * 60 + 30);
  EXPECT_EQ(local_of(at("2026-10-24T22:30:00Z"), zone).weekday, 6);
}

// Quiet hours end by the wall clock: the long night is 11 hours, the short one 9.
TEST(Duty, quiet_hours_are_as_long_as_the_night_is) {
  DutyList duty;
  duty.quiet = Hours{.from_min = 20 * 60, .to_min = 6 * 60};
  EXPECT_EQ(quiet_until(duty, at("2026-03-28T19:00:00Z"), "Europe/Berlin"), at("2026-03-29T04:00:00Z"));
  EXPECT_EQ(quiet_until(duty, at("2026-10-24T18:00:00Z"), "Europe/Berlin"), at("2026-10-25T05:00:00Z"));
  EXPECT_EQ(quiet_until(duty, at("2026-10-24T12:00:00Z"), "Europe/Berlin"), std::nullopt);
  duty.quiet = Hours{};
  EXPECT_EQ(quiet_until(duty, at("2026-10-24T12:00:00Z"), "Europe/Berlin"), std::nullopt) << "always quiet would be never told";
}

// A night shift of Friday goes on into Saturday morning and not into Monday's.
TEST(Duty, hours_over_midnight_belong_to_the_day_on_which_they_begin) {
  Hours friday{.days = {}, .from_min = 22 * 60, .to_min = 6 * 60};
  friday.days[4] = true;
  EXPECT_TRUE(within(friday, local_of(at("2026-01-16T23:00:00Z"), "UTC")));
  EXPECT_TRUE(within(friday, local_of(at("2026-01-17T05:59:00Z"), "UTC")));
  EXPECT_FALSE(within(friday, local_of(at("2026-01-17T06:00:00Z"), "UTC")));
  EXPECT_FALSE(within(friday, local_of(at("2026-01-16T05:00:00Z"), "UTC")));
}

// Between two who each believe the other is on duty nobody goes.
TEST(Duty, a_rota_hands_over_at_its_minute_also_over_a_change_of_clocks_and_before_its_first) {
  DutyList duty;
  duty.zone = "Europe/Berlin";
  duty.people["anna"] = {"anna", {}};
  duty.people["ben"] = {"ben", {}};
  duty.rotas["on-call"] = {.people = {"anna", "ben"}, .year = 2026, .month = 3, .day = 23, .minute = 0, .days = 7};
  EXPECT_EQ(person_on(duty, "on-call", at("2026-03-22T22:59:59Z")), "ben");
  EXPECT_EQ(person_on(duty, "on-call", at("2026-03-22T23:00:00Z")), "anna");
  EXPECT_EQ(person_on(duty, "on-call", at("2026-03-29T21:59:59Z")), "anna");
  EXPECT_EQ(person_on(duty, "on-call", at("2026-03-29T22:00:00Z")), "ben") << "summer time: midnight is an hour earlier";
  EXPECT_EQ(person_on(duty, "nobody", at("2026-03-29T22:00:00Z")), "");
}

// An act that no line fits must not reach nobody; what is not urgent goes to the digest.
TEST(Duty, the_first_line_that_fits_counts_and_an_act_always_reaches_somebody) {
  DutyList duty;
  duty.people["anna"] = {"anna", {}};
  duty.people["ben"] = {"ben", {}};
  duty.lines.push_back({.name = "a", .sites = {"westquay"}, .stations = {}, .conditions = {}, .urgency = Urgency::notice, .hours = {}, .tell = {"ben"}, .after_min = 5});
  const history::WarningRef north{{"northyard", "ps-1"}, 1, Condition::slow_vent}, west{{"westquay", "ps-1"}, 1, Condition::slow_vent};
  const Time now = at("2026-03-29T22:00:00Z");
  EXPECT_EQ(choose(duty, west, Urgency::notice, now).people, std::vector<std::string>{"ben"});
  EXPECT_EQ(choose(duty, north, Urgency::plan, now).people, std::vector<std::string>{});
  EXPECT_EQ(choose(duty, north, Urgency::act, now).people, (std::vector<std::string>{"anna", "ben"}));
}

}  // namespace
}  // namespace driftline::messages
