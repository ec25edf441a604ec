// The gateway as a process: killed, without disk, told to end, told to reload.
#include <gtest/gtest.h>

#include <algorithm>
#include <csignal>
#include <fstream>
#include <set>
#include <sstream>

#include "gateway/app/clock.h"
#include "gateway/app/health.h"
#include "tests/integration/program/whole.h"
#include "tests/support/eventually.h"
#include "tests/support/mosquitto.h"
#include "tests/support/process.h"

namespace driftline::testing {
namespace {

constexpr int stations = 5;

class AsProcess : public ::testing::Test {
 protected:
  void SetUp() override { mosquitto.start(); }
  std::string data() const { return folder.file("data"); }
  std::string log_file() const { return folder.file("gateway.log"); }
  std::string log() const {
    std::ostringstream text;
    text << std::ifstream(log_file()).rdbuf();
    return text.str();
  }
  Process start(std::optional<std::uint64_t> file_bytes_max = {}, const std::string& root_file = {}) {
    std::vector<std::string> command{GATEWAY_PROCESS, std::to_string(mosquitto.port()), data()};
    if (!root_file.empty()) command.push_back(root_file);
    return Process(
        {.command = command, .environment = {}, .output_file = log_file(), .file_bytes_max = file_bytes_max});
  }
  std::size_t lines_with(const std::string& text) const {
    std::size_t found = 0;
    std::istringstream lines(log());
    for (std::string line; std::getline(lines, line);) found += line.find(text) != std::string::npos ? 1 : 0;
    return found;
  }
  bool connected_times(std::size_t times) {
    return eventually([&] { return lines_with("broker-connected [gate-1]:") >= times; });
  }
  // Ends the process cleanly and checks that it was.
  void end(Process& process) {
    process.signal(SIGTERM);
    EXPECT_EQ(process.wait(), 0) << log();
  }
  std::multiset<std::string> journalled() const {
    std::multiset<std::string> all;
    for (const Message& message : journal_of(data())) all.insert(message.payload);
    return all;
  }

  Mosquitto mosquitto;
  TempFolder folder;
  const std::int64_t start_ms = ms_since_1970(wall_now()) - 3600'000;
};

TEST_F(AsProcess, killed_again_and_again_under_load_it_loses_nothing_and_doubles_nothing) {
  // Turns would be lost at each crash, or counted twice, and nobody would know.
  // Many stations and few turns: in any batch most have no output, so their saved states lag behind the
  // journal's position.
  constexpr int many = 40, total = 400 * many, lives = 8;
  MqttPeer sender(mosquitto.port(), "sender");
  Process first = start();
  ASSERT_TRUE(connected_times(1)) << log();
  for (int station = 0; station < many; ++station) {
    const Sent message = settings_message(station);
    sender.publish(message.topic, message.payload, true);
  }
  int sent = 0;
  Process process = std::move(first);
  for (int life = 1; life <= lives; ++life) {
    for (const int upto = total * life / lives; sent < upto; ++sent) {
      const Sent message = sample(sent, many, start_ms);
      sender.publish(message.topic, message.payload);
      if (sent == upto - 300) process.kill();  // in the middle of taking and judging
    }
    process = start();
    ASSERT_TRUE(connected_times(static_cast<std::size_t>(life) + 1)) << log();
  }
  sender.flush();
  MqttPeer marker(mosquitto.port(), "marker");
  marker.publish("grease/northyard/end/presence", R"({"state":"online"})");
  marker.flush();
  std::string health;
  ASSERT_TRUE(eventually([&] {
    health = read_health(data(), wall_now()).text;
    return health.find(R"("waiting":0,)") != std::string::npos &&
           health.find(R"("stations":41,)") != std::string::npos;
  })) << health;
  end(process);

  const auto messages = journalled();
  for (int n = 0; n < total; ++n) ASSERT_TRUE(messages.contains(sample(n, many, start_ms).payload)) << n;
  const RowTexts history = rows_in_history(data());
  const RowTexts least = rows_from_journal(data(), settings_for(1, data()).plant, std::nullopt);
  const RowTexts most = rows_from_journal(data(), settings_for(1, data()).plant, wall_now());
  for (const auto& [file, lines] : least) {
    ASSERT_TRUE(history.contains(file)) << file;
    const auto& stored = history.at(file);
    EXPECT_TRUE(std::includes(stored.begin(), stored.end(), lines.begin(), lines.end()))
        << file << " lacks rows";
  }
  for (const auto& [file, lines] : history) {
    ASSERT_TRUE(most.contains(file)) << file;
    const auto& replayed = most.at(file);
    EXPECT_TRUE(std::includes(replayed.begin(), replayed.end(), lines.begin(), lines.end()))
        << file << " has rows too many";
  }
  EXPECT_GT(history.at("half-cycles").size(), 4U * many);
}

TEST_F(AsProcess, with_its_disk_full_it_acknowledges_nothing_and_goes_on_when_there_is_room) {
  // The broker would let go of messages that nobody has.
  constexpr int total = 400;
  {
    Process process = start();
    ASSERT_TRUE(connected_times(1)) << log();
    end(process);
  }
  MqttPeer sender(mosquitto.port(), "sender");
  for (int n = 0; n < total; ++n)
    sender.publish("grease/northyard/ps-1/telemetry", std::to_string(n) + std::string(4000, ' '));
  sender.flush();
  {
    Process small = start(512 * 1024);  // its files may not grow beyond this
    ASSERT_TRUE(eventually([&] { return lines_with("message-left-with-broker") > 0; })) << log();
    small.kill();
  }
  const std::size_t before = journalled().size();
  EXPECT_LT(before, static_cast<std::size_t>(total));
  EXPECT_GT(before, 0U);
  Process roomy = start();
  ASSERT_TRUE(eventually([&] {
    return read_health(data(), wall_now()).text.find(R"("waiting":0,)") != std::string::npos &&
           read_health(data(), wall_now())
                   .text.find(R"("received":)" + std::to_string(total - static_cast<int>(before))) !=
               std::string::npos;
  })) << read_health(data(), wall_now()).text;
  end(roomy);
  EXPECT_EQ(journalled().size(), static_cast<std::size_t>(total));
}

TEST_F(AsProcess, says_on_standard_output_what_it_watches) {
  // Whoever starts it by hand looks at a blank screen.
  Process process = start();
  ASSERT_TRUE(eventually(
      [&] { return log().find("driftline runs: watching grease/# at 127.0.0.1:") != std::string::npos; }));
  end(process);
}

TEST_F(AsProcess, its_health_is_good_while_it_runs_and_gone_when_it_has_ended) {
  // A container would be restarted for nothing, or never.
  EXPECT_FALSE(read_health(data(), wall_now()).good);
  Process process = start();
  ASSERT_TRUE(eventually([&] { return read_health(data(), wall_now()).good; }));
  EXPECT_FALSE(read_health(data(), wall_now() + std::chrono::minutes{1}).good);
  end(process);
  EXPECT_FALSE(read_health(data(), wall_now()).good);
}

TEST_F(AsProcess, a_hangup_signal_reloads_all_or_nothing) {
  // An edit with a slip of the pen would stop a plant's watch.
  const std::string root_file = folder.write("root", "driftline");
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("+/gateway/gate-1/presence");
  Process process = start({}, root_file);
  ASSERT_TRUE(watcher.next());
  folder.write("root", "grease/out");
  process.signal(SIGHUP);
  ASSERT_TRUE(eventually([&] { return lines_with("reload-refused") == 1; })) << log();
  std::filesystem::remove(root_file);
  process.signal(SIGHUP);
  ASSERT_TRUE(eventually([&] { return read_health(data(), wall_now()).good; })) << log();
  folder.write("root", "elsewhere");
  process.signal(SIGHUP);
  ASSERT_TRUE(eventually([&] { return lines_with("configuration-reloaded") == 1; })) << log();
  const auto seen = watcher.until([](const PeerMessage& m) { return m.topic.starts_with("elsewhere/"); });
  ASSERT_FALSE(seen.empty());
  EXPECT_EQ(seen.back().topic, "elsewhere/gateway/gate-1/presence");
  end(process);
}

TEST_F(AsProcess, it_does_not_start_with_what_it_cannot_use) {
  // It would run and watch nothing.
  Process process = start({}, folder.file("not-there"));
  EXPECT_EQ(process.wait(), 2);
  EXPECT_NE(log().find("not-there cannot be read"), std::string::npos);
}

// As a person runs it.
class Program : public AsProcess {
 protected:
  void write_config(const std::string& output_root) const {
    folder.write("config/gateway.json",
                 R"({"broker":{"port":)" + std::to_string(mosquitto.port()) +
                     R"(,"client_id":"gate-1","retry_s_max":1},"data_folder":"../data","output_root":")" +
                     output_root + "\"}");
  }
  Process driftline(std::vector<std::string> arguments) const {
    arguments.insert(arguments.begin(), DRIFTLINE_PROGRAM);
    return Process({.command = std::move(arguments),
                    .environment = {},
                    .output_file = log_file(),
                    .file_bytes_max = {}});
  }
};

TEST_F(Program, runs_from_a_configuration_folder_and_its_journal_is_replayed) {
  // Each part works and the program does not.
  write_config("driftline");
  Process process = driftline({"run", "--config", folder.file("config")});
  ASSERT_TRUE(connected_times(1)) << log();
  MqttPeer sender(mosquitto.port(), "sender");
  for (int station = 0; station < stations; ++station) {
    const Sent message = settings_message(station);
    sender.publish(message.topic, message.payload, true);
  }
  for (int n = 0; n < 600 * stations; ++n) {
    const Sent message = sample(n, stations, start_ms);
    sender.publish(message.topic, message.payload);
  }
  sender.flush();
  ASSERT_TRUE(eventually([&] {
    Process health = driftline({"run", "--health", "--config", folder.file("config")});
    return health.wait() == 0 && lines_with(R"("judged":)" + std::to_string(601 * stations)) > 0;
  })) << log();
  write_config("grease/out");
  process.signal(SIGHUP);
  ASSERT_TRUE(eventually([&] { return lines_with("reload-refused") == 1; })) << log();
  end(process);
  Process replay = driftline({"replay", "--journal", data(), "--out", folder.file("out")});
  EXPECT_EQ(replay.wait(), 0) << log();
  std::ifstream file(folder.file("out/half-cycles.ndjson"));
  std::vector<std::string> replayed;
  for (std::string line; std::getline(file, line);) replayed.push_back(line + "\n");
  std::sort(replayed.begin(), replayed.end());
  const std::vector<std::string> stored = rows_in_history(data()).at("half-cycles");
  EXPECT_GT(stored.size(), 5U * stations);
  EXPECT_TRUE(std::includes(replayed.begin(), replayed.end(), stored.begin(), stored.end()));
  Process health = driftline({"run", "--health", "--data", data()});
  EXPECT_EQ(health.wait(), 1);
}

}  // namespace
}  // namespace driftline::testing
