// The whole gateway in this process against a real broker.
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>

#include "gateway/app/clock.h"
#include "gateway/app/journal_recording.h"
#include "gateway/app/replay.h"
#include "tests/integration/program/whole.h"
#include "tests/support/eventually.h"
#include "tests/support/mosquitto.h"

namespace driftline::testing {
namespace {

constexpr int stations = 5;

void send(MqttPeer& sender, int from, int to, std::int64_t start_ms) {
  for (int n = from; n < to; ++n) {
    const Sent message = sample(n, stations, start_ms);
    sender.publish(message.topic, message.payload);
  }
  sender.flush();
}

void send_settings(MqttPeer& sender) {
  for (int station = 0; station < stations; ++station) {
    const Sent message = settings_message(station);
    sender.publish(message.topic, message.payload, true);
  }
  sender.flush();
}

// Before this nobody listens for us and the broker keeps nothing.
bool listens(const Gateway& gateway) {
  return eventually([&] { return gateway.status().source == broker::SourceState::listening; });
}

bool judged(const Gateway& gateway, std::uint64_t messages) {
  return eventually([&] { return gateway.status().judged.messages >= messages; });
}

// Rows that silence caused may or may not have been due when the gateway stopped: the history lies between
// what the messages alone cause and what they cause with silence until now. Neither more nor fewer, and none
// twice.
void expect_as_replayed(const std::string& data_folder, const PlantSettings& plant) {
  const RowTexts history = rows_in_history(data_folder);
  const RowTexts least = rows_from_journal(data_folder, plant, std::nullopt);
  const RowTexts most = rows_from_journal(data_folder, plant, wall_now());
  for (const auto& [file, lines] : least) {
    const auto found = history.find(file);
    ASSERT_TRUE(found != history.end()) << file;
    EXPECT_TRUE(std::includes(found->second.begin(), found->second.end(), lines.begin(), lines.end()))
        << file << " lacks rows";
  }
  for (const auto& [file, lines] : history) {
    const auto found = most.find(file);
    ASSERT_TRUE(found != most.end()) << file;
    EXPECT_TRUE(std::includes(found->second.begin(), found->second.end(), lines.begin(), lines.end()))
        << file << " has rows too many";
  }
}

class Whole : public ::testing::Test {
 protected:
  void SetUp() override { mosquitto.start(); }
  GatewaySettings settings() { return settings_for(mosquitto.port(), data()); }
  std::string data() const { return folder.file("data"); }
  Mosquitto mosquitto;
  TempFolder folder;
  const std::int64_t start_ms = ms_since_1970(wall_now()) - 3600'000;
};

TEST_F(Whole, what_it_stores_is_what_a_replay_of_its_journal_gives) {
  // The live road and the replay would be two programs.
  {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    ASSERT_TRUE(listens(gateway));
    MqttPeer sender(mosquitto.port(), "sender");
    send_settings(sender);
    send(sender, 0, 3600 * stations, start_ms);
    ASSERT_TRUE(judged(gateway, 3601 * stations));
  }
  EXPECT_GT(rows_in_history(data())["half-cycles"].size(), 50U * stations);
  expect_as_replayed(data(), settings().plant);
}

TEST_F(Whole, its_journal_as_a_recording_replays_to_the_same_rows) {
  // A fault report could not be reproduced from what the gateway kept.
  {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    ASSERT_TRUE(listens(gateway));
    MqttPeer sender(mosquitto.port(), "sender");
    send_settings(sender);
    send(sender, 0, 1800 * stations, start_ms);
    sender.publish("grease/northyard/ps-1/telemetry", "\"not\x01 json");
    sender.flush();
    ASSERT_TRUE(judged(gateway, 1801 * stations + 1));
  }
  const auto messages = record_journal(data(), folder.file("recording.ndjson.gz"));
  ASSERT_TRUE(messages) << messages.error();
  EXPECT_EQ(*messages, 1801U * stations + 1);
  const ReplayOutcome outcome =
      replay({settings().plant, {folder.file("recording.ndjson.gz")}, folder.file("out")},
             [](const ReplayProgress&) {});
  ASSERT_TRUE(outcome.report) << outcome.why;
  const RowTexts history = rows_in_history(data());
  for (const char* name : {"half-cycles", "faults"}) {
    std::ifstream file(folder.file("out/") + name + ".ndjson");
    std::vector<std::string> replayed;
    for (std::string line; std::getline(file, line);) replayed.push_back(line + "\n");
    std::sort(replayed.begin(), replayed.end());
    const auto& stored = history.at(name);
    EXPECT_TRUE(std::includes(replayed.begin(), replayed.end(), stored.begin(), stored.end())) << name;
    // The end of a recording settles open turns, one a station at most; a gateway that stops leaves them
    // open.
    EXPECT_LE(replayed.size(), stored.size() + stations) << name;
    EXPECT_FALSE(stored.empty()) << name;
  }
}

TEST_F(Whole, stopped_and_started_in_the_middle_it_stores_the_same) {
  // Each restart would cost the turns that are open.
  MqttPeer sender(mosquitto.port(), "sender");
  for (int part = 0; part < 4; ++part) {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    if (part == 0) {
      ASSERT_TRUE(listens(gateway));
      send_settings(sender);
    }
    send(sender, part * 900 * stations, (part + 1) * 900 * stations, start_ms);
    ASSERT_TRUE(judged(gateway, 1));
  }
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(listens(gateway));
  ASSERT_TRUE(eventually(
      [&] { return gateway.status().received.received + gateway.status().journal.next > 3601U * stations; }));
  gateway.stop();
  EXPECT_EQ(journal_of(data()).size(), 3601U * stations);
  expect_as_replayed(data(), settings().plant);
}

TEST_F(Whole, a_bad_message_is_a_fault_once_and_never_comes_back) {
  // One bad controller would be reported at every start, or block the session for ever.
  for (int life = 0; life < 2; ++life) {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    ASSERT_TRUE(listens(gateway));
    MqttPeer sender(mosquitto.port(), "sender");
    if (life == 0)
      for (const char* payload : {"{", "", "{\"time\":1}", "\xff\xfe"})
        sender.publish("grease/northyard/ps-1/telemetry", payload);
    if (life == 0) sender.publish("grease/northyard", "{}");
    sender.publish("grease/northyard/ps-1/presence", R"({"state":"online"})");
    sender.flush();
    ASSERT_TRUE(judged(gateway, life == 0 ? 6 : 1));
  }
  EXPECT_EQ(rows_in_history(data())["faults"].size(), 5U);
}

TEST_F(Whole, half_cycles_go_out_over_mqtt_as_they_are_stored) {
  // What other systems see would differ from what the history holds.
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("driftline/half-cycles/#");
  {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    ASSERT_TRUE(listens(gateway));
    MqttPeer sender(mosquitto.port(), "sender");
    send_settings(sender);
    send(sender, 0, 600 * stations, start_ms);
    ASSERT_TRUE(judged(gateway, 601 * stations));
    ASSERT_TRUE(eventually([&] { return gateway.status().publisher_connected; }));
  }
  std::vector<std::string> seen;
  while (auto message = watcher.next(500)) seen.push_back(message->payload + "\n");
  std::sort(seen.begin(), seen.end());
  EXPECT_EQ(seen, rows_in_history(data())["half-cycles"]);
  EXPECT_FALSE(seen.empty());
}

TEST_F(Whole, a_second_gateway_on_the_same_data_is_refused) {
  // Two writers would destroy the history.
  Gateway first(settings());
  ASSERT_EQ(first.start(), std::nullopt);
  Gateway second(settings());
  const auto problem = second.start();
  ASSERT_TRUE(problem);
  EXPECT_NE(problem->find(data()), std::string::npos) << *problem;
}

TEST_F(Whole, a_reload_that_cannot_be_leaves_everything_as_it_was) {
  // Half a reload is worse than none.
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(listens(gateway));
  GatewaySettings bad = settings();
  bad.broker.output_root = "grease/out";
  ASSERT_TRUE(gateway.reload(bad));
  GatewaySettings elsewhere = settings();
  elsewhere.store.data_folder = folder.file("elsewhere");
  ASSERT_TRUE(gateway.reload(elsewhere));
  EXPECT_EQ(gateway.settings().broker.output_root, "driftline");
  EXPECT_EQ(gateway.settings().store.data_folder, data());
  EXPECT_EQ(gateway.status().received.connections, 1U);
}

TEST_F(Whole, a_reload_changes_outputs_and_stations_while_it_runs) {
  // Every change of a threshold would need a restart.
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("elsewhere/#");
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(listens(gateway));
  MqttPeer sender(mosquitto.port(), "sender");
  sender.publish("grease/northyard/ps-1/presence", R"({"state":"online"})");
  sender.flush();
  ASSERT_TRUE(judged(gateway, 1));
  GatewaySettings changed = settings();
  changed.broker.output_root = "elsewhere";
  changed.plant.watch_unknown_stations = false;
  ASSERT_EQ(gateway.reload(changed), std::nullopt);
  const auto seen = watcher.until([](const PeerMessage& m) { return m.topic == "elsewhere/gateway/gate-1/presence"; });
  ASSERT_FALSE(seen.empty());
  EXPECT_EQ(seen.back().topic, "elsewhere/gateway/gate-1/presence");
  sender.publish("grease/northyard/ps-2/presence", R"({"state":"online"})");
  sender.flush();
  EXPECT_TRUE(eventually([&] { return gateway.status().judged.faults == 1; }));
}

}  // namespace
}  // namespace driftline::testing
