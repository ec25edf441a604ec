// All of it over real servers: one dies, the others go on and tell of it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>

#include "tests/support/message_peers.h"
#include "tests/support/eventually.h"
#include "tests/unit/messages/plant_of_warnings.h"

namespace driftline::messages {
namespace {

using driftline::testing::Certificates;
using driftline::testing::Endpoint;
using driftline::testing::eventually;
using driftline::testing::MailServer;
using nlohmann::json;

class DeliveryToServers : public ::testing::Test {
 protected:
  DeliveryToServers() {
    duty_ = duty_list();
    duty_.mail = server_.settings();
    duty_.webhooks["chat"] = endpoint_.settings();
    duty_.people["anna"].channels.emplace_back("webhook chat", "@anna");
    duty_.digest_min = 24 * 60;  // none
  }
  void start() {
    DeliveryParts parts;
    parts.history = plant_.history.get();
    parts.wall = [this] { return monday_noon + std::chrono::seconds{passed_s_}; };
    delivery_ = std::make_unique<Delivery>(duty_, std::move(parts));
    delivery_->start();
  }
  void raise(int station) {
    WarningChange row = word(station, Change::raised, Urgency::act, monday_noon, static_cast<Condition>(station % 12));
    row.station.site = "site-" + std::to_string(station);
    plant_.say(row);
    delivery_->nudge();
  }
  std::vector<std::string> chat_subjects() const {
    std::vector<std::string> all;
    for (const json& request : endpoint_.requests()) all.push_back(request["body"]["subject"]);
    return all;
  }

  Certificates authority_;
  MailServer server_{authority_};
  Endpoint endpoint_;
  WarnedPlant plant_;
  DutyList duty_;
  std::atomic<int> passed_s_{0};
  std::unique_ptr<Delivery> delivery_;
};

// With one way dead, silence on the other would pass for calm.
TEST_F(DeliveryToServers, a_dead_channel_blocks_no_other_is_told_by_the_others_and_catches_up) {
  server_.kill();
  start();
  for (int station = 1; station <= 3; ++station) raise(station);
  ASSERT_TRUE(eventually([&] { return endpoint_.requests().size() == 3; }));
  passed_s_ = 320;
  ASSERT_TRUE(eventually([&] {
    const auto subjects = chat_subjects();
    return std::ranges::find(subjects, "mail does not go out") != subjects.end();
  }));
  EXPECT_EQ(server_.count(), 0U);
  server_.start();
  passed_s_ = 600;
  ASSERT_TRUE(eventually([&] { return server_.count() >= 3; }));
  ASSERT_TRUE(eventually([&] {
    const auto subjects = chat_subjects();
    return std::ranges::find(subjects, "mail goes out again") != subjects.end();
  }));
}

// A channel that takes a message and dies without a word must not ring a telephone for ever.
TEST_F(DeliveryToServers, what_is_taken_without_an_answer_comes_twice_at_most_with_one_key) {
  duty_.mail.reset();
  duty_.people["anna"].channels = {{"webhook chat", "@anna"}};
  duty_.people.erase("ben");
  duty_.lines[0].tell = {"anna"};
  endpoint_.behave("close");
  start();
  raise(1);
  ASSERT_TRUE(eventually([&] { return endpoint_.requests().size() == 1; }));
  passed_s_ = 60;
  ASSERT_TRUE(eventually([&] { return endpoint_.requests().size() == 2; }));
  endpoint_.behave("200");
  ASSERT_TRUE(eventually([&] {
    ++passed_s_;  // well under the 15 minutes that it would take otherwise
    return endpoint_.requests().size() == 3 || passed_s_ > 800;
  })) << "an act goes on: the next in turn, here a reminder to the same";
  const auto requests = endpoint_.requests();
  EXPECT_EQ(requests[0]["headers"]["Idempotency-Key"], requests[1]["headers"]["Idempotency-Key"]);
  EXPECT_NE(requests[1]["headers"]["Idempotency-Key"], requests[2]["headers"]["Idempotency-Key"]);
  EXPECT_EQ(requests[2]["body"]["warnings"][0]["kind"], "reminder");
}

}  // namespace
}  // namespace driftline::messages
