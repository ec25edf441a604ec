#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "gateway/messages/limits.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

struct Killed {};

DeliveryParts parts_of(WarnedPlant& plant, Post& post) {
  DeliveryParts parts;
  parts.history = plant.history.get();
  parts.wall = [] { return monday_noon; };
  parts.channel = [&post](const std::string&) { return std::make_unique<PostBox>(post); };
  return parts;
}

void deliver(WarnedPlant& plant, Post& post, const DutyList& duty, Time now, const std::function<void(const char*)>& between = {}) {
  DeliveryParts parts = parts_of(plant, post);
  parts.between = between;
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  planning.step(now);
  while (sending.step(now)) {
  }
}

// A process that is killed between two steps must neither forget an act nor ring a person three times.
TEST(Delivery, killed_between_any_two_steps_every_act_is_sent_and_none_more_than_twice) {
  int kills = 0;
  for (int at = 1;; ++at) {
    WarnedPlant plant;
    Post post;
    DutyList duty = duty_list();
    duty.digest_to.clear();
    for (int station = 1; station <= 3; ++station) {
      WarningChange row = word(station, Change::raised, Urgency::act, monday_noon);
      row.condition = static_cast<Condition>(station);
      plant.say(row);
    }
    bool killed_once = false;
    for (int life = 0; life < 2; ++life) {
      int steps = 0;
      bool killed = false;
      try {
        deliver(plant, post, duty, monday_noon, [&](const char*) {
          if (++steps == at) throw Killed{};
        });
      } catch (const Killed&) {
        killed = killed_once = true;
        ++kills;
      }
      plant.open();
      if (!killed) break;
    }
    deliver(plant, post, duty, monday_noon);
    std::map<std::string, int> times;
    for (const Outbound& out : post.out)
      for (const Item& item : out.items) ++times[item.message.row.key];
    EXPECT_EQ(times.size(), 3U) << "killed at step " << at;
    for (const auto& [key, count] : times) EXPECT_LE(count, 2) << key << ", killed at step " << at;
    if (!killed_once) break;
  }
  EXPECT_GE(kills, 10) << "the loop must have killed something";
}

// Handed over twice and killed each time: it may have arrived twice, so no third copy.
TEST(Delivery, what_was_handed_over_twice_without_an_answer_is_not_sent_again) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  plant.say(word(1, Change::raised, Urgency::act, monday_noon));
  for (int life = 0; life < 4; ++life) {
    try {
      deliver(plant, post, duty, monday_noon, [](const char* step) {
        if (std::string_view(step) == "sent") throw Killed{};
      });
    } catch (const Killed&) {
    }
    plant.open();
  }
  const auto to = [&](const char* person) { return std::count_if(post.out.begin(), post.out.end(), [&](const Outbound& out) { return out.person == person; }); };
  EXPECT_EQ(to("anna"), 2);
  EXPECT_GE(to("ben"), 1) << "an act goes on to the next";
  EXPECT_EQ((*plant.reader->messages_after(0, 9))[0].row.progress.state, history::MessageState::unsure);
}

// A channel that is away must lose nothing, and must not be hammered.
TEST(Delivery, a_dead_channel_waits_longer_and_longer_and_then_sends_in_order) {
  WarnedPlant plant;
  Post post;
  post.answer = Sent::later;
  const DutyList duty = duty_list();
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  for (int i = 1; i <= 2; ++i) {
    plant.say(word(i, Change::raised, Urgency::act, monday_noon + seconds{i}));
    planning.step(monday_noon + seconds{i});
  }
  Time now = monday_noon + seconds{3};
  EXPECT_FALSE(sending.step(now));
  EXPECT_EQ(post.tried.size(), 1U);
  EXPECT_TRUE(sending.to_tell(now + minutes{4}).empty()) << "a short outage is nobody's business";
  ASSERT_EQ(sending.to_tell(now + dead_after).size(), 1U);
  EXPECT_TRUE(sending.to_tell(now + dead_after).empty()) << "once";
  post.answer = Sent::yes;
  EXPECT_FALSE(sending.step(now + back_off_first - seconds{1}));
  EXPECT_TRUE(post.out.empty());
  EXPECT_TRUE(sending.step(now + back_off_first));
  ASSERT_EQ(sending.to_tell(now).size(), 1U);
  std::vector<std::string> stations;
  for (const Outbound& out : post.out)
    for (const Item& item : out.items)
      if (item.message.row.warning) stations.push_back(item.message.row.warning->station.station);
  EXPECT_THAT(stations, ::testing::ElementsAre("ps-1", "ps-2"));
}

// Forty stations slow in the frost are one thing: forty mails would be read by nobody. Acts still come one by one.
TEST(Delivery, what_a_site_has_in_common_is_one_message_and_a_flood_is_a_summary) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  for (int i = 1; i <= 40; ++i) plant.say(word(i, Change::raised, Urgency::plan, monday_noon));
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  planning.step(monday_noon);
  EXPECT_FALSE(sending.step(monday_noon)) << "siblings gather";
  EXPECT_TRUE(sending.step(monday_noon + gather));
  ASSERT_EQ(post.out.size(), 1U);
  EXPECT_EQ(post.out[0].text.subject, "Plan northyard: slow to pressure at 40 stations");
  EXPECT_THAT(post.out[0].text.plain, ::testing::HasSubstr("ps-17 line 2"));
}

// Cleared before it was due: telling it would send somebody out for nothing. An act is told all the same.
TEST(Delivery, what_is_over_before_it_was_due_is_dropped_but_not_an_act) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  plant.say(word(1, Change::raised, Urgency::plan, monday_noon));
  plant.say(word(2, Change::raised, Urgency::act, monday_noon));
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  planning.step(monday_noon);
  for (int i = 1; i <= 2; ++i) plant.say(word(i, Change::cleared, Urgency::plan, monday_noon + seconds{5}));
  EXPECT_TRUE(sending.step(monday_noon + gather));
  ASSERT_EQ(post.out.size(), 1U);
  EXPECT_EQ(post.out[0].items[0].message.row.warning->station.station, "ps-2");
}

// A receiver that knows a message by its key would take a second copy for news, or take news for a second copy.
TEST(Delivery, a_message_keeps_its_identity_over_attempts_also_when_others_have_joined_or_left) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  const auto raise = [&](Condition condition, Time time) { plant.say(word(1, Change::raised, Urgency::plan, time, condition)); };
  raise(Condition::slow_to_pressure, monday_noon);
  raise(Condition::peak_shift, monday_noon);
  planning.step(monday_noon);
  post.answer = Sent::later;
  EXPECT_FALSE(sending.step(monday_noon + gather));
  ASSERT_EQ(post.tried.size(), 1U);
  ASSERT_EQ(post.tried[0].items.size(), 2U) << "both have one cause";
  raise(Condition::slow_vent, monday_noon + minutes{2});
  planning.step(monday_noon + minutes{2});
  plant.say(word(1, Change::cleared, Urgency::plan, monday_noon + minutes{2}));  // the first, that gave the number
  post.answer = Sent::yes;
  while (sending.step(monday_noon + minutes{5})) {
  }
  ASSERT_EQ(post.tried.size(), 3U);
  EXPECT_EQ(post.tried[1].identity, post.tried[0].identity);
  EXPECT_EQ(post.tried[1].items.size(), 1U) << "what is over has left, what is new has not joined";
  EXPECT_NE(post.tried[2].identity, post.tried[0].identity);
}

// The limit must count what has just gone, or a flood that comes in small portions is none.
TEST(Delivery, a_flood_in_portions_is_one_and_an_act_is_never_held_back) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  const auto warn = [&](int station, Urgency urgency, Time time) {
    WarningChange row = word(station, Change::raised, urgency, time, static_cast<Condition>(station % 10));
    row.station.site = "site-" + std::to_string(station);  // nothing in common
    plant.say(row);
  };
  for (int i = 1; i <= 24; ++i) {
    const Time t = monday_noon + seconds{10 * i};
    warn(i, Urgency::plan, t);
    planning.step(t);
    sending.step(t + gather);
  }
  EXPECT_EQ(post.out.size(), static_cast<std::size_t>(flood_messages));
  for (int i = 101; i <= 112; ++i) warn(i, Urgency::act, monday_noon + minutes{6});
  planning.step(monday_noon + minutes{6});
  while (sending.step(monday_noon + minutes{6})) {
  }
  ASSERT_EQ(post.out.size(), flood_messages + 1U) << "acts go at once; so many of them as one";
  EXPECT_EQ(post.out.back().items.size(), 12U);
  while (sending.step(monday_noon + minutes{16})) {
  }
  ASSERT_EQ(post.out.size(), flood_messages + 2U) << "the rest as one summary, once it is calm";
  EXPECT_EQ(post.out.back().items.size(), 14U);
}

// A full mailbox of one must not keep the others from their messages.
TEST(Delivery, an_address_that_says_try_again_holds_up_only_itself_and_is_told_to_the_others) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to = {"ben"};
  DeliveryParts parts = parts_of(plant, post);
  Sending sending("mail", duty, parts);
  const auto say = [&](const char* what) {
    DutyList both = duty;
    both.digest_to = {"anna", "ben"};
    (void)tell(*plant.history, both, {what, what, "body\n"}, monday_noon);
  };
  post.full = "anna";
  say("first");
  EXPECT_TRUE(sending.step(monday_noon));
  say("second");
  EXPECT_TRUE(sending.step(monday_noon + seconds{1}));
  ASSERT_EQ(post.out.size(), 2U);
  for (const Outbound& out : post.out) EXPECT_EQ(out.person, "ben");
  EXPECT_TRUE(sending.to_tell(monday_noon + minutes{4}).empty());
  const auto said = sending.to_tell(monday_noon + minutes{6});
  ASSERT_EQ(said.size(), 1U);
  EXPECT_EQ(said[0].subject, "mail to anna does not go out");
  post.full.clear();
  EXPECT_TRUE(sending.step(monday_noon + minutes{7}));
  ASSERT_EQ(post.out.size(), 4U);
  EXPECT_EQ(post.out[2].text.subject, "first") << "in order";
  EXPECT_EQ(sending.to_tell(monday_noon + minutes{7}).size(), 1U) << "it is back";
}

// Refused for good at the one address: nobody would be told for another quarter of an hour.
TEST(Delivery, an_act_that_is_refused_goes_to_the_next_at_once) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  plant.say(word(1, Change::raised, Urgency::act, monday_noon));
  planning.step(monday_noon);
  post.answer = Sent::refused;
  sending.step(monday_noon);
  const auto said = sending.to_tell(monday_noon);
  ASSERT_EQ(said.size(), 1U);
  EXPECT_EQ(said[0].subject, "mail to anna is refused");
  post.answer = Sent::yes;
  planning.step(monday_noon + seconds{6});
  sending.step(monday_noon + seconds{6});
  ASSERT_FALSE(post.out.empty());
  EXPECT_EQ(post.out[0].person, "ben");
}

// Told that it is over while it is back again, a technician turns round on the way.
TEST(Delivery, that_it_is_over_is_not_said_while_it_is_back) {
  WarnedPlant plant;
  Post post;
  DutyList duty = duty_list();
  duty.digest_to.clear();
  DeliveryParts parts = parts_of(plant, post);
  Planning planning(duty, parts);
  Sending sending("mail", duty, parts);
  const auto at = [&](Change change, int minute) {
    const Time t = monday_noon + minutes{minute};
    plant.say(word(1, change, Urgency::plan, t));
    planning.step(t);
  };
  at(Change::raised, 0);
  sending.step(monday_noon + minutes{2});
  ASSERT_EQ(post.out.size(), 1U);
  at(Change::cleared, 10);
  at(Change::raised, 11);
  while (sending.step(monday_noon + minutes{12})) {
  }
  EXPECT_EQ(post.out.size(), 1U) << "it flaps: nothing to say";
  at(Change::cleared, 20);
  while (sending.step(monday_noon + minutes{21})) {
  }
  ASSERT_EQ(post.out.size(), 2U);
  EXPECT_EQ(post.out[1].items[0].message.row.kind, history::MessageKind::over);
}

}  // namespace
}  // namespace driftline::messages
