// The watcher is watched: a real broker and a real store are killed, the gateway is killed, ended and started.
#include <gtest/gtest.h>

#include <csignal>
#include <nlohmann/json.hpp>

#include "gateway/app/clock.h"
#include "gateway/app/messages_consumer.h"
#include "gateway/app/metrics_consumer.h"
#include "gateway/app/self_watch.h"
#include "gateway/history/reader.h"
#include "gateway/messages/beat_hook.h"
#include "gateway/metrics/settings.h"
#include "gateway/metrics/writer.h"
#include "tests/integration/program/whole.h"
#include "tests/support/eventually.h"
#include "tests/support/message_peers.h"
#include "tests/support/mosquitto.h"
#include "tests/support/process.h"

namespace driftline::testing {
namespace {

using Json = nlohmann::json;
using std::chrono::minutes;
using std::chrono::seconds;

constexpr auto heartbeat = "driftline/gateway/gate-1/heartbeat";

class Watched : public ::testing::Test {
 protected:
  void SetUp() override { mosquitto.start(); }
  std::string data() const { return folder.file("data"); }
  GatewaySettings settings() const { return settings_for(mosquitto.port(), data()); }
  // What is retained for whoever comes now; waits until it satisfies `right`.
  template <class Right>
  Json beat_that(Right right) {
    Json found;
    (void)eventually([&] {
      MqttPeer peer(mosquitto.port(), "looker");
      peer.subscribe(heartbeat);
      const auto message = peer.next(1000);
      if (message) found = Json::parse(message->payload);
      return message && right(found);
    });
    return found;
  }
  // The gateway's own watch, by a clock of the test's, telling the test.
  SelfWatch watch_of(Gateway& gateway, std::function<std::optional<std::string>()> output = {}) {
    SelfWatchParts parts;
    parts.history_file = data() + "/history.db";
    parts.data_folder = data();
    parts.status = [&gateway] { return gateway.status(); };
    parts.output_trouble = std::move(output);
    parts.tell = [this](const messages::GatewaySays& said) {
      if (takes) told.push_back(said.what.substr(0, said.what.find('|')));
      return takes;
    };
    parts.wall = [this] { return now; };
    parts.steady = steady_now;
    parts.free_bytes = [this] { return std::optional(free); };
    return SelfWatch(HeartbeatSettings{}, std::move(parts));
  }
  void pass(SelfWatch& watch, seconds time) {
    for (seconds done{0}; done < time; done += seconds{5}) {
      watch.look();
      now += seconds{5};
    }
  }
  static bool is_well(const Gateway& gateway) { return gateway.status().source == broker::SourceState::listening && gateway.status().publisher_connected; }

  TempFolder folder;
  Mosquitto mosquitto;
  Time now = wall_now();
  std::uint64_t free = 100ULL << 30;
  bool takes = true;
  std::vector<std::string> told;
};

// Whoever waits for messages would take a dead gateway for a healthy plant.
TEST_F(Watched, the_heartbeat_says_how_it_is_and_how_it_ended) {
  {
    Gateway gateway(settings());
    ASSERT_EQ(gateway.start(), std::nullopt);
    const Json beat = beat_that([](const Json& b) { return b["state"] == "running"; });
    EXPECT_EQ(beat["state"], "running");
    EXPECT_EQ(beat["stations"], 0);
    EXPECT_TRUE(beat["watched"].is_number() || beat["watched"].is_null());
    EXPECT_TRUE(beat["journal_position"].is_number_unsigned());
    EXPECT_TRUE(beat["version"].is_string());
    EXPECT_TRUE(beat["troubles"].empty());
  }
  EXPECT_EQ(beat_that([](const Json& b) { return b["state"] == "ended"; })["state"], "ended");
  Process process({.command = {GATEWAY_PROCESS, std::to_string(mosquitto.port()), data()}, .environment = {}, .output_file = folder.file("log"), .file_bytes_max = {}});
  EXPECT_EQ(beat_that([](const Json& b) { return b["state"] == "running"; })["state"], "running");
  process.kill();
  EXPECT_EQ(beat_that([](const Json& b) { return b["state"] == "lost"; })["state"], "lost");
}

TEST_F(Watched, a_broker_that_is_killed_is_told_and_told_again_when_it_is_back) {  // "no message" would mean "no broker"
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(eventually([&] { return is_well(gateway); }));
  SelfWatch watch = watch_of(gateway);
  pass(watch, minutes{10});
  EXPECT_TRUE(told.empty());
  mosquitto.kill();
  ASSERT_TRUE(eventually([&] { return gateway.status().source != broker::SourceState::listening; }));
  pass(watch, minutes{10});
  EXPECT_EQ(told, std::vector<std::string>{"broker"});
  EXPECT_NE(watch.heartbeat(false).find(R"("troubles":["broker"])"), std::string::npos);
  mosquitto.start();
  ASSERT_TRUE(eventually([&] { return is_well(gateway); }));
  pass(watch, minutes{20});
  EXPECT_EQ(told, (std::vector<std::string>{"broker", "broker-well"}));
}

TEST_F(Watched, a_store_that_is_killed_is_told) {  // charts would end, and nobody would look there for weeks
  const std::uint16_t port = free_port();
  const auto start = [&] {
    return Process({.command = {"victoria-metrics", "-httpListenAddr=127.0.0.1:" + std::to_string(port), "-storageDataPath=" + folder.file("store"), "-memory.allowedBytes=64MB"},
                    .environment = {}, .output_file = folder.file("store.log"), .file_bytes_max = {}});
  };
  Process store = start();
  ASSERT_TRUE(eventually([&] { return listening(port); }));
  metrics::MetricsSettings metrics;
  metrics.url = "http://127.0.0.1:" + std::to_string(port);
  auto history = history::History::open({.file = folder.file("rows/history.db"), .cursors = {metrics::cursor_use()}});
  ASSERT_TRUE(history);
  const Consumer consumer = metrics_consumer(metrics).start(**history);
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(eventually([&] { return is_well(gateway); }));
  SelfWatch watch = watch_of(gateway, consumer.trouble);
  pass(watch, minutes{20});
  EXPECT_TRUE(told.empty());
  store.kill();
  history::Batch batch;
  batch.half_cycles.push_back({{"northyard", "ps-01"}, {}, {}});
  ASSERT_TRUE((*history)->commit(batch));
  ASSERT_TRUE(eventually([&] { return consumer.trouble().has_value(); }));
  pass(watch, minutes{20});
  EXPECT_EQ(told, std::vector<std::string>{"output"});
  store = start();
  ASSERT_TRUE(eventually([&] { return !consumer.trouble(); }, seconds{120}));
  pass(watch, minutes{20});
  EXPECT_EQ(told, (std::vector<std::string>{"output", "output-well"}));
  consumer.stop();
}

// A full disk is the end of all warnings; what cannot be told now must be told as soon as it can.
TEST_F(Watched, a_disk_that_fills_is_told_before_it_is_full) {
  Gateway gateway(settings());
  ASSERT_EQ(gateway.start(), std::nullopt);
  ASSERT_TRUE(eventually([&] { return is_well(gateway); }));
  SelfWatch watch = watch_of(gateway);
  free = 500ULL << 20;
  takes = false;
  pass(watch, minutes{5});
  takes = true;
  pass(watch, minutes{5});
  EXPECT_EQ(told, std::vector<std::string>{"disk"});
  free = (1ULL << 30) + 1;  // at the edge: not well yet
  pass(watch, minutes{30});
  EXPECT_EQ(told.size(), 1U);
  free = 2ULL << 30;
  pass(watch, minutes{30});
  EXPECT_EQ(told, (std::vector<std::string>{"disk", "disk-well"}));
}

// A switch that fails between the stations and the broker would be dozens of messages, one a station.
TEST_F(Watched, a_plant_that_is_not_heard_is_told_as_one) {
  auto history = history::History::open({.file = data() + "/history.db"});
  ASSERT_TRUE(history);
  const auto silent = [&](int station, Change change) {
    WarningChange row;
    row.time = now;
    row.station = {"northyard", "ps-0" + std::to_string(station)};
    row.condition = Condition::station_silent;
    row.change = change;
    row.text = "silent";
    history::Batch batch;
    batch.warnings.push_back(row);
    ASSERT_TRUE((*history)->commit(batch));
  };
  SelfWatchParts parts;
  parts.history_file = data() + "/history.db";
  parts.data_folder = data();
  parts.status = [] {
    GatewayStatus status;
    status.source = broker::SourceState::listening;
    status.publisher_connected = true;
    status.judged.stations = 6;
    return status;
  };
  parts.tell = [this](const messages::GatewaySays& said) {
    told.push_back(said.body);
    return true;
  };
  parts.wall = [this] { return now; };
  parts.steady = steady_now;
  parts.free_bytes = [this] { return std::optional(free); };
  SelfWatch watch({}, std::move(parts));
  silent(1, Change::raised);
  silent(2, Change::raised);
  pass(watch, minutes{20});
  EXPECT_TRUE(told.empty()) << "two of six are warnings of their own";
  silent(3, Change::raised);
  pass(watch, minutes{20});
  ASSERT_EQ(told.size(), 1U);
  EXPECT_NE(told[0].find("3 of 6 stations are silent"), std::string::npos) << told[0];
  silent(3, Change::cleared);
  pass(watch, minutes{30});
  EXPECT_EQ(told.size(), 1U) << "a third of them is not well yet";
  EXPECT_NE(watch.heartbeat(false).find(R"("stations":6,"watched":4,"silent":2)"), std::string::npos) << watch.heartbeat(false);
  silent(2, Change::cleared);
  pass(watch, minutes{30});
  EXPECT_EQ(told.size(), 2U);
}

// Start and end, to a real endpoint, the last before the program goes.
TEST_F(Watched, start_and_end_reach_people) {
  Endpoint endpoint;
  messages::DutyList duty;
  duty.people["anna"] = {"anna", {{"webhook chat", "@anna"}}};
  duty.digest_to = {"anna"};
  duty.digest_min = 24 * 60;  // no digest today
  duty.webhooks["chat"] = endpoint.settings();
  const auto said = [&](const std::string& words) {
    for (const Json& request : endpoint.requests())
      if (request["body"]["subject"] == words) return true;
    return false;
  };
  GatewaySettings all = settings();
  all.consumers.push_back(messages_consumer(duty, {}));
  Gateway gateway(all);
  ASSERT_EQ(gateway.start(), std::nullopt);
  EXPECT_TRUE(eventually([&] { return said("driftline has started"); }));
  gateway.tell_end("SIGTERM");
  EXPECT_TRUE(said("driftline has been ended"));
  gateway.stop();
}

// Whoever goes on leave would be rung until the next restart.
TEST_F(Watched, a_changed_duty_list_holds_after_a_reload) {
  Endpoint endpoint;
  messages::DutyList duty;
  duty.people["anna"] = {"anna", {{"webhook chat", "@anna"}}};
  duty.people["ben"] = {"ben", {{"webhook chat", "@ben"}}};
  duty.digest_to = {"anna"};
  duty.digest_min = 24 * 60;
  duty.webhooks["chat"] = endpoint.settings();
  GatewaySettings all = settings();
  all.consumers.push_back(messages_consumer(duty, {}));
  Gateway gateway(all);
  ASSERT_EQ(gateway.start(), std::nullopt);
  duty.digest_to = {"ben"};
  all.consumers = {messages_consumer(duty, {})};
  ASSERT_EQ(gateway.reload(all), std::nullopt);
  gateway.tell_end("SIGTERM");
  std::vector<std::string> told_of_the_end;
  for (const Json& request : endpoint.requests())
    if (request["body"]["subject"] == "driftline has been ended") told_of_the_end.push_back(request["body"]["person"]);
  EXPECT_EQ(told_of_the_end, std::vector<std::string>{"ben"});
  all.consumers.clear();
  EXPECT_TRUE(gateway.reload(all));  // taken away: that needs a restart, and is said
}

TEST_F(Watched, an_outside_watcher_is_called) {  // a gateway whose machine is off tells nobody anything
  Endpoint endpoint;
  EXPECT_EQ(messages::call_beat_hook(endpoint.settings().url, std::nullopt, R"({"state":"running"})"), std::nullopt);
  const auto requests = endpoint.requests();
  ASSERT_EQ(requests.size(), 1U);
  EXPECT_EQ(requests[0]["body"]["state"], "running");
  endpoint.behave("500");
  EXPECT_TRUE(messages::call_beat_hook(endpoint.settings().url, std::nullopt, "{}"));
  EXPECT_TRUE(messages::call_beat_hook("http://127.0.0.1:" + std::to_string(free_port()) + "/", std::nullopt, "{}"));
}

}  // namespace
}  // namespace driftline::testing
