#include <gmock/gmock.h>
#include <gtest/gtest.h>

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
  EXPECT_EQ(post.out.size(), 2U);
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
  EXPECT_TRUE(sending.down_since().has_value());
  post.answer = Sent::yes;
  EXPECT_FALSE(sending.step(now + back_off_first - seconds{1}));
  EXPECT_TRUE(post.out.empty());
  EXPECT_TRUE(sending.step(now + back_off_first));
  EXPECT_FALSE(sending.down_since().has_value());
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
  EXPECT_EQ(post.out[0].text.subject, "northyard: 40 warnings at 40 stations");
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

}  // namespace
}  // namespace driftline::messages
