// The source against a real mosquitto.
#include <gtest/gtest.h>

#include <set>

#include "tests/integration/broker/listening.h"
#include "tests/support/mosquitto.h"
#include "tests/support/mqtt_peer.h"

namespace driftline::testing {
namespace {

using broker::BrokerSettings;
using broker::SourceState;

BrokerSettings settings_for(std::uint16_t port) {
  BrokerSettings settings;
  settings.port = port;
  settings.client_id = "gate-1";
  settings.retry_s_max = 1;
  settings.keep_alive_s = 10;
  return settings;
}

void send_numbered(std::uint16_t port, int from, int to) {
  MqttPeer sender(port, "sender");
  for (int i = from; i < to; ++i) sender.publish("grease/northyard/ps-01/telemetry", std::to_string(i));
  sender.flush();
}

std::set<std::string> payloads(const std::vector<Heard>& heard) {
  std::set<std::string> all;
  for (const Heard& one : heard) all.insert(one.payload);
  return all;
}

class SourceTest : public ::testing::TestWithParam<broker::Protocol> {
 protected:
  static BrokerSettings settings(std::uint16_t port) {
    BrokerSettings all = settings_for(port);
    all.protocol = GetParam();
    return all;
  }
};

TEST_P(SourceTest, hears_everything_under_the_root_and_nothing_else) {
  // A topic that is none of the contract's must reach the decoder to become a fault; other plants' must not.
  Mosquitto mosquitto;
  mosquitto.start();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  MqttPeer sender(mosquitto.port(), "sender");
  for (const char* topic : {"other/northyard/ps-01/telemetry", "grease/northyard/ps-01/telemetry", "grease/x",
                            "grease/a/b/c/d/e"})
    sender.publish(topic, "{}");
  sender.flush();
  ASSERT_TRUE(eventually([&] { return listening.size() == 3; }));
  EXPECT_EQ(listening.heard().at(0).topic, "grease/northyard/ps-01/telemetry");
  EXPECT_EQ(listening.heard().at(2).topic, "grease/a/b/c/d/e");
}

TEST_P(SourceTest, hears_more_filters_also_after_the_broker_has_forgotten_them) {
  // Stations that speak otherwise would be silent, at once or after a broker's restart.
  Mosquitto mosquitto({.keeps_store = false, .global = {}, .second_listener = {}});
  mosquitto.start();
  BrokerSettings with_more = settings(mosquitto.port());
  with_more.more_filters = {"plant/+/pumps", "works/+/+/values"};
  Listening listening(with_more);
  ASSERT_TRUE(listening.listens());
  const auto send = [&] {
    MqttPeer sender(mosquitto.port(), "sender");
    for (const char* topic : {"works/a/b/other", "plant/a/pumps", "works/a/b/values", "grease/a/b/telemetry"}) sender.publish(topic, "{}");
    sender.flush();
  };
  send();
  ASSERT_TRUE(eventually([&] { return listening.size() == 3; }));
  mosquitto.kill();
  ASSERT_TRUE(eventually([&] { return listening.source().state() == SourceState::connecting; }));
  mosquitto.start();
  ASSERT_TRUE(listening.listens());
  send();
  ASSERT_TRUE(eventually([&] { return listening.size() == 6; }));
  EXPECT_EQ(listening.heard().at(4).topic, "works/a/b/values");
}

TEST_P(SourceTest, starts_with_the_broker_down) {
  // After a power cut the gateway is often up before the broker.
  Mosquitto mosquitto;
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(eventually([&] { return listening.source().counts().connect_failures > 0; }));
  mosquitto.start();
  ASSERT_TRUE(listening.listens());
  send_numbered(mosquitto.port(), 0, 3);
  EXPECT_TRUE(eventually([&] { return listening.size() == 3; }));
}

TEST_P(SourceTest, what_came_while_it_was_away_is_sent_when_it_is_back) {
  // A restart of the gateway would lose what the stations sent meanwhile: no session was kept.
  Mosquitto mosquitto;
  mosquitto.start();
  {
    Listening first(settings(mosquitto.port()));
    ASSERT_TRUE(first.listens());
  }
  send_numbered(mosquitto.port(), 0, 2000);
  Listening second(settings(mosquitto.port()));
  ASSERT_TRUE(eventually([&] { return second.size() >= 2000; }));
  EXPECT_EQ(payloads(second.heard()).size(), 2000U);
}

TEST_P(SourceTest, a_broker_back_without_its_store_is_subscribed_to_again) {
  // Connected, no error, and no message for ever.
  Mosquitto mosquitto({.keeps_store = false, .global = {}, .second_listener = {}});
  mosquitto.start();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  mosquitto.kill();
  ASSERT_TRUE(eventually([&] { return listening.source().state() == SourceState::connecting; }));
  mosquitto.start();
  ASSERT_TRUE(listening.listens());
  send_numbered(mosquitto.port(), 0, 3);
  EXPECT_TRUE(eventually([&] { return listening.size() == 3; }));
}

TEST_P(SourceTest, a_broker_back_with_its_store_brings_what_it_held) {
  // Messages that the broker had accepted for us before it was stopped would be lost.
  Mosquitto mosquitto;
  mosquitto.start();
  {
    Listening first(settings(mosquitto.port()));
    ASSERT_TRUE(first.listens());
  }
  send_numbered(mosquitto.port(), 0, 500);
  mosquitto.stop();
  Listening second(settings(mosquitto.port()));
  mosquitto.start();
  ASSERT_TRUE(eventually([&] { return second.size() >= 500; }));
  EXPECT_EQ(payloads(second.heard()).size(), 500U);
}

TEST_P(SourceTest, a_message_the_journal_refuses_is_left_with_the_broker) {
  // A full disk would turn into silent loss: the library acknowledges whatever the callback answers.
  Mosquitto mosquitto;
  mosquitto.start();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  listening.refuse(true);
  send_numbered(mosquitto.port(), 0, 50);
  ASSERT_TRUE(eventually(
      [&] { return listening.source().counts().not_taken >= 2; }));  // refused, came again, refused
  EXPECT_EQ(listening.size(), 0U);
  listening.refuse(false);
  ASSERT_TRUE(eventually([&] { return listening.size() >= 50; }));
  EXPECT_EQ(payloads(listening.heard()).size(), 50U);
}

TEST_P(SourceTest, stopped_while_the_journal_refuses_it_acknowledges_nothing) {
  // The service manager stops a gateway whose disk is full: what is in the callback at that moment must come
  // again.
  Mosquitto mosquitto;
  mosquitto.start();
  {
    Listening first(settings(mosquitto.port()));
    ASSERT_TRUE(first.listens());
    first.refuse(true);
    send_numbered(mosquitto.port(), 0, 50);
    ASSERT_TRUE(eventually([&] { return first.source().counts().received > 0; }));
  }
  Listening second(settings(mosquitto.port()));
  ASSERT_TRUE(eventually([&] { return second.size() >= 50; }));
  EXPECT_EQ(payloads(second.heard()).size(), 50U);
}

TEST_P(SourceTest, an_exception_in_the_journal_neither_ends_the_program_nor_loses_the_message) {
  // Out of memory in a callback of C code ends the process.
  Mosquitto mosquitto;
  mosquitto.start();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  listening.throw_once();
  send_numbered(mosquitto.port(), 0, 3);
  EXPECT_TRUE(eventually([&] { return payloads(listening.heard()).size() == 3; }));
}

TEST_P(SourceTest, slow_callbacks_are_counted_and_lose_nothing) {
  // A disk that stalls longer than it should must show before it becomes a disconnection.
  Mosquitto mosquitto;
  mosquitto.start();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(listening.listens());
  listening.be_slow(std::chrono::milliseconds{600});
  send_numbered(mosquitto.port(), 0, 3);
  ASSERT_TRUE(eventually([&] { return listening.size() == 3; }));
  EXPECT_TRUE(eventually([&] { return listening.source().counts().slow == 3; }));
  EXPECT_EQ(listening.source().counts().connections, 1U);
}

TEST_P(SourceTest, an_oversized_payload_is_cut_to_one_byte_over_the_bound) {
  // Uncut it would fill the journal; dropped it would never be reported.
  Mosquitto mosquitto;
  mosquitto.start();
  BrokerSettings small = settings(mosquitto.port());
  small.payload_bytes_max = 1000;
  Listening listening(small);
  ASSERT_TRUE(listening.listens());
  MqttPeer sender(mosquitto.port(), "sender");
  sender.publish("grease/northyard/ps-01/telemetry", std::string(1000, 'a'));
  sender.publish("grease/northyard/ps-01/telemetry", std::string(20'000, 'b'));
  sender.flush();
  ASSERT_TRUE(eventually([&] { return listening.size() == 2; }));
  EXPECT_EQ(listening.heard().at(0).payload.size(), 1000U);
  EXPECT_EQ(listening.heard().at(1).payload.size(), 1001U);
  EXPECT_EQ(listening.source().counts().cut, 1U);
}

TEST_P(SourceTest, its_presence_is_online_then_offline_at_a_clean_end) {
  // A plant cannot tell a stopped gateway from a quiet one.
  Mosquitto mosquitto;
  mosquitto.start();
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("driftline/gateway/gate-1/presence");
  Listening listening(settings(mosquitto.port()));
  auto message = watcher.next();
  ASSERT_TRUE(message);
  EXPECT_EQ(message->payload.substr(0, 27), R"({"state":"online","time":"2)");
  listening.source().stop();
  message = watcher.next();
  ASSERT_TRUE(message);
  EXPECT_EQ(message->payload.substr(0, 28), R"({"state":"offline","time":"2)");
  MqttPeer late(mosquitto.port(), "late");
  late.subscribe("driftline/gateway/gate-1/presence");
  message = late.next();
  ASSERT_TRUE(message);
  EXPECT_TRUE(message->retained);
}

TEST_P(SourceTest, settings_that_were_retained_come_with_the_first_subscription) {
  // A gateway started after the stations would not know their target pressure.
  Mosquitto mosquitto;
  mosquitto.start();
  MqttPeer station(mosquitto.port(), "station");
  station.publish("grease/northyard/ps-01/settings", R"({"target_bar":180})", true);
  station.flush();
  Listening listening(settings(mosquitto.port()));
  ASSERT_TRUE(eventually([&] { return listening.size() == 1; }));
  EXPECT_EQ(listening.heard().at(0).payload, R"({"target_bar":180})");
}

INSTANTIATE_TEST_SUITE_P(Versions, SourceTest,
                         ::testing::Values(broker::Protocol::mqtt_5, broker::Protocol::mqtt_3_1_1),
                         [](const auto& version) {
                           return version.param == broker::Protocol::mqtt_5 ? "mqtt_5" : "mqtt_3_1_1";
                         });

}  // namespace
}  // namespace driftline::testing
