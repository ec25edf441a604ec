// What people do to warnings without the page: over a real broker, and on the command line beside a gateway that runs, that is
// stopped, and that was killed.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <csignal>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "gateway/app/clock.h"
#include "gateway/broker/outbox.h"
#include "gateway/history/reader.h"
#include "gateway/history/warning_key.h"
#include "rules/records/time_text.h"
#include "tests/integration/program/whole.h"
#include "tests/support/eventually.h"
#include "tests/support/mosquitto.h"
#include "tests/support/process.h"

namespace driftline::testing {
namespace {

using Json = nlohmann::json;

constexpr auto key = "northyard/ps-01/line-2/slow-to-pressure";
constexpr auto acts = "driftline/gateway/gate-1/acts";
constexpr auto answers = "driftline/gateway/gate-1/answers";

class ActsOnWarnings : public ::testing::Test {
 protected:
  ActsOnWarnings() {
    auto history = history::History::open({.file = data() + "/history.db", .cursors = {broker::mqtt_cursor_use()}});
    history::Batch batch;
    WarningChange warning;
    warning.time = raised;
    warning.station = {"northyard", "ps-01"};
    warning.line = 2;
    warning.urgency = Urgency::plan;
    warning.causes = {{Cause::slow_leak, 1.0}};
    warning.text = "Plan ps-01 line 2: slow to pressure\nIt takes longer.";
    batch.warnings.push_back(warning);
    EXPECT_TRUE((*history)->commit(batch));
  }
  std::string data() const { return folder.file("data"); }
  // Asks again under the same id until it is answered, as whoever asks should.
  static Json ask(MqttPeer& peer, const std::string& payload, const std::string& request) {
    for (int tries = 0; tries < 100; ++tries) {
      peer.publish(acts, payload);
      while (auto message = peer.next(300)) {
        if (message->topic != answers) continue;
        Json answer = Json::parse(message->payload);
        if (request.empty() ? answer["request"].is_null() : answer["request"] == request) return answer;
      }
    }
    return {};
  }
  static Json ask(MqttPeer& peer, Json question) { return ask(peer, question.dump(), question["request"]); }
  static Json acknowledge(const std::string& request) {
    return {{"request", request}, {"act", "acknowledge"}, {"warning", key}, {"by", "anna"}, {"why", "on my way"}};
  }
  history::Rows<history::LifeChange> changes() const { return history::Reader::open(data() + "/history.db").value()->life_changes_after(0, 99); }
  struct Ended {
    int code = -1;
    std::string text;
  };
  Ended driftline(std::vector<std::string> arguments) const {
    const std::string output = folder.file("output");
    arguments.insert(arguments.begin(), DRIFTLINE_PROGRAM);
    Process process({.command = arguments, .environment = {}, .output_file = output, .file_bytes_max = {}});
    Ended ended;
    ended.code = process.wait().value_or(-1);
    std::ostringstream text;
    text << std::ifstream(output).rdbuf();
    ended.text = text.str();
    return ended;
  }
  Process gateway_process() const {
    return Process({.command = {GATEWAY_PROCESS, std::to_string(mosquitto.port()), data()}, .environment = {}, .output_file = folder.file("log"), .file_bytes_max = {}});
  }
  bool socket_is_there() const { return ::access((data() + "/acts.sock").c_str(), F_OK) == 0; }

  const Time raised = floored(wall_now()) - std::chrono::hours{1};
  TempFolder folder;
  Mosquitto mosquitto;

 private:
  static Time floored(Time time) { return std::chrono::floor<std::chrono::seconds>(time); }
};

TEST_F(ActsOnWarnings, are_taken_by_mqtt_answered_and_told_to_all) {
  // Whoever has only the broker could not take a warning, and two would go.
  mosquitto.start();
  MqttPeer peer(mosquitto.port(), "phone"), watcher(mosquitto.port(), "watcher");
  peer.subscribe(answers);
  watcher.subscribe("driftline/#");
  {
    Gateway gateway(settings_for(mosquitto.port(), data()));
    ASSERT_EQ(gateway.start(), std::nullopt);
    const Json done = ask(peer, acknowledge("phone/1"));
    EXPECT_EQ(done["answer"], "done");
    EXPECT_EQ(done["owner"], "anna");
    EXPECT_EQ(done["state"], "acknowledged");
    EXPECT_EQ(done["warning"], key);
    bool told = false, stands = false;
    while (!told || !stands) {
      const auto message = watcher.next();
      ASSERT_TRUE(message) << "it was not told to all";
      if (message->topic == "driftline/life-changes/northyard/ps-01") {
        const Json change = Json::parse(message->payload);
        told = told || (change["event"] == "acknowledge" && change["who"] == "anna" && change["why"] == "on my way" && change["via"] == "mqtt" && change["request"] == "phone/1");
      }
      if (message->topic == std::string("driftline/lives/") + key) stands = stands || Json::parse(message->payload)["owner"] == "anna";
    }
    const Json other = ask(peer, {{"request", "phone/2"}, {"act", "acknowledge"}, {"warning", key}, {"by", "ben"}});
    EXPECT_EQ(other["answer"], "already");
    EXPECT_EQ(other["owner"], "anna");
  }
  // The answer was lost, the gateway started anew: asked again, it is not done twice.
  const std::size_t before = changes()->size();
  Gateway gateway(settings_for(mosquitto.port(), data()));
  ASSERT_EQ(gateway.start(), std::nullopt);
  const Json again = ask(peer, acknowledge("phone/1"));
  EXPECT_EQ(again["answer"], "done");
  EXPECT_EQ(again["repeated"], true);
  EXPECT_EQ(changes()->size(), before);
  const Json noted = ask(peer, {{"request", "phone/3"}, {"act", "note"}, {"warning", key}, {"by", "ben"}, {"why", "grüße"}});
  EXPECT_EQ(noted["answer"], "done");
  const Json shelved = ask(peer, {{"request", "phone/4"}, {"act", "shelve"}, {"warning", key}, {"by", "ben"}, {"until", rfc3339(wall_now() + std::chrono::hours{8})}});
  EXPECT_EQ(shelved["state"], "shelved");
  EXPECT_TRUE(shelved["shelved_until"].is_string());
  const auto all = changes();
  EXPECT_EQ(all->back().row.who, "ben");
  EXPECT_EQ(all->size(), before + 2);
}

TEST_F(ActsOnWarnings, that_cannot_be_done_are_refused_with_what_would_be_right) {
  // A typo would pass for an acknowledgement, and nobody would go.
  mosquitto.start();
  MqttPeer peer(mosquitto.port(), "phone");
  peer.subscribe(answers);
  Gateway gateway(settings_for(mosquitto.port(), data()));
  ASSERT_EQ(gateway.start(), std::nullopt);
  const auto refused_at = [&](Json question) {
    const Json answer = ask(peer, question);
    EXPECT_EQ(answer["answer"], "refused") << answer;
    EXPECT_NE(answer["why"], "") << answer;
    EXPECT_NE(answer["remedy"], "") << answer;
    return answer["where"].get<std::string>();
  };
  Json question = acknowledge("a");
  question["warning"] = "northyard/ps-01/line-9/slow-to-pressure";
  EXPECT_EQ(refused_at(question), "/warning");
  question["warning"] = "northyard/ps-09/line-2/slow-to-pressure";
  EXPECT_EQ(refused_at(question), "/warning");
  question = acknowledge("a");
  question["act"] = "acknowlege";
  EXPECT_EQ(refused_at(question), "/act");
  question = acknowledge("a");
  question["by"] = "";
  EXPECT_EQ(refused_at(question), "/by");
  question.erase("by");
  EXPECT_EQ(refused_at(question), "/by");
  question = acknowledge("a");
  question["raised"] = "2026-01-01T00:00:00Z";
  EXPECT_EQ(refused_at(question), "/raised");
  question = acknowledge("a");
  question["act"] = "shelve";
  EXPECT_EQ(refused_at(question), "/until");
  question["until"] = "tomorrow";
  EXPECT_EQ(refused_at(question), "/until");
  question["until"] = rfc3339(wall_now() + std::chrono::hours{24 * 400});
  EXPECT_EQ(refused_at(question), "/until");
  question = acknowledge("a");
  question["who"] = "anna";
  EXPECT_EQ(ask(peer, question.dump(), "")["where"], "/who");
  for (const std::string bad : {"", "null", "[]", "{\"request\":", "\xff\xfe", "{\"request\":\"a\",\"request\":\"b\"}"}) {
    const Json answer = ask(peer, bad, "");
    EXPECT_EQ(answer["answer"], "refused") << bad;
  }
  EXPECT_EQ(ask(peer, std::string(20'000, 'x'), "")["why"], "it has 8193 bytes");
  EXPECT_EQ(changes()->size(), 1U);
}

TEST_F(ActsOnWarnings, on_the_command_line_reach_the_gateway_that_runs) {
  // A second writer of the history would be turned away, or the two would destroy it.
  mosquitto.start();
  MqttPeer peer(mosquitto.port(), "watcher");
  peer.subscribe("driftline/lives/#");
  Process gateway = gateway_process();
  ASSERT_TRUE(eventually([&] { return socket_is_there(); }));
  struct stat state{};
  ASSERT_EQ(::stat((data() + "/acts.sock").c_str(), &state), 0);
  EXPECT_EQ(state.st_mode & 0777, 0600U);
  const Ended taken = driftline({"acknowledge", key, "--by", "anna", "--why", "on my way", "--data", data()});
  EXPECT_EQ(taken.code, 0) << taken.text;
  EXPECT_NE(taken.text.find("anna has it"), std::string::npos) << taken.text;
  const auto seen = peer.until([](const PeerMessage& m) { return m.payload.find("\"owner\":\"anna\"") != std::string::npos; });
  ASSERT_FALSE(seen.empty());
  const Ended other = driftline({"acknowledge", key, "--by", "ben", "--data", data()});
  EXPECT_EQ(other.code, 0);
  EXPECT_NE(other.text.find("anna has it"), std::string::npos) << other.text;
  EXPECT_EQ(changes()->back().row.via, "command-line");
  const Ended listed = driftline({"warnings", "--data", data()});
  EXPECT_NE(listed.text.find(std::string(key) + "  plan  acknowledged"), std::string::npos) << listed.text;
  EXPECT_NE(listed.text.find("anna"), std::string::npos) << listed.text;
  gateway.signal(SIGTERM);
  EXPECT_EQ(gateway.wait(), 0);
  EXPECT_FALSE(socket_is_there());
}

TEST_F(ActsOnWarnings, on_the_command_line_are_kept_while_no_gateway_runs_and_told_by_the_next) {
  // Somebody answers a mail while the gateway is being updated: nobody would hear of it.
  const Ended shelved = driftline({"warnings", "shelve", key, "--hours", "8", "--by", "ben", "--why", "parts ordered", "--data", data()});
  EXPECT_EQ(shelved.code, 0) << shelved.text;
  EXPECT_NE(shelved.text.find("Shelved until"), std::string::npos) << shelved.text;
  const Ended twice = driftline({"warnings", "shelve", key, "--hours", "9999", "--by", "ben", "--data", data()});
  EXPECT_EQ(twice.code, 1);
  EXPECT_NE(twice.text.find("/until"), std::string::npos) << twice.text;
  EXPECT_EQ(driftline({"acknowledge", "northyard/ps-01", "--by", "ben", "--data", data()}).code, 1);
  EXPECT_EQ(driftline({"acknowledge", key, "--by", "ben"}).code, 2);
  EXPECT_EQ(driftline({"acknowledge", key, "--by", "ben", "--data", folder.file("nowhere")}).code, 1);
  mosquitto.start();
  MqttPeer peer(mosquitto.port(), "watcher");
  peer.subscribe("driftline/life-changes/#");
  Process gateway = gateway_process();
  const auto seen = peer.until([](const PeerMessage& m) { return m.payload.find("parts ordered") != std::string::npos; });
  ASSERT_EQ(seen.size(), 2U);  // raised, and shelved, once each
  // Killed: its socket stays behind and answers nobody.
  gateway.kill();
  ASSERT_TRUE(socket_is_there());
  const Ended back = driftline({"warnings", "unshelve", key, "--by", "ben", "--data", data()});
  EXPECT_EQ(back.code, 0) << back.text;
  const auto lives = history::Reader::open(data() + "/history.db").value()->lives();
  ASSERT_EQ(lives->size(), 1U);
  EXPECT_FALSE(lives->front().row.life.shelf);
}

}  // namespace
}  // namespace driftline::testing
