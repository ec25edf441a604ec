// Messages of the gateway as a process that is killed between any two steps.
#include <gtest/gtest.h>

#include <csignal>
#include <map>
#include <set>

#include "gateway/app/clock.h"
#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "tests/support/eventually.h"
#include "tests/support/message_peers.h"

namespace driftline::testing {
namespace {

constexpr int warnings = 3;

WarningChange said(int number, Change change, Time time) {
  WarningChange row;
  row.time = time;
  row.station = {"site-" + std::to_string(number), "ps-01"};
  row.line = 1;
  row.condition = Condition::pressure_not_reached;
  row.urgency = Urgency::act;
  row.change = change;
  row.text = (change == Change::cleared ? "Over" : "ACT") + std::string(" ps-01 line 1: target pressure not reached\nBody.");
  return row;
}

class KilledGateway : public ::testing::Test {
 protected:
  void SetUp() override {
    config_.write("gateway.json", R"({"broker":{"port":)" + std::to_string(free_port()) + R"(,"client_id":"gate-1"}})");
    const messages::MailSettings mail = server_.settings();
    nlohmann::json duty{{"people", {{"anna", {{"mail", "anna@plant.example"}}}}},
                        {"lines", {{{"name", "all"}, {"tell", {"anna"}}}}},
                        {"mail", {{"server", mail.server}, {"from", mail.from}, {"user", mail.user}, {"password_file", *mail.password_file}, {"ca_file", *mail.ca_file}}}};
    config_.write("duty.json", duty.dump());
  }
  void store(const std::string& data, const std::vector<WarningChange>& rows) const {
    std::filesystem::create_directories(data);
    auto history = history::History::open({.file = data + "/history.db"});
    ASSERT_TRUE(history.has_value()) << history.error();
    history::Batch batch;
    batch.warnings = rows;
    ASSERT_TRUE((*history)->commit(batch).has_value());
  }
  Process start(const std::string& data, int die_at) const {
    return Process({.command = {GATEWAY_THAT_DIES, config_.path().string(), data, std::to_string(die_at)}, .environment = {}, .output_file = config_.file("log"), .file_bytes_max = {}});
  }
  // Nothing waits any more, and at least so many were planned.
  static bool settled(const std::string& data, std::size_t planned) {
    const auto reader = history::Reader::open(data + "/history.db");
    if (!reader) return false;
    const auto rows = (*reader)->messages_after(0, 1'000);
    if (!rows || rows->size() < planned) return false;
    return std::ranges::none_of(*rows, [](const auto& row) { return row.row.progress.state == history::MessageState::waiting; });
  }

  static std::string table(const std::string& data) {
    std::string text;
    const auto rows = *(*history::Reader::open(data + "/history.db"))->messages_after(0, 1'000);
    for (const auto& row : rows) text += "\n" + row.row.row.key + " " + std::string(name_of(row.row.progress.state)) + " " + row.row.progress.answer;
    return text;
  }

  Certificates authority_;
  MailServer server_{authority_};
  TempFolder config_;
};

// Whoever must go would not be told, or be rung again and again, because a machine was restarted.
TEST_F(KilledGateway, killed_between_any_two_steps_every_act_reaches_somebody_none_more_than_twice_in_order) {
  int died = 0;
  for (int at = 1;; ++at) {
    const TempFolder folder;
    const std::string data = folder.file("data");
    const std::size_t before = server_.count();
    const Time now = wall_now() - std::chrono::minutes{1};
    std::vector<WarningChange> rows;
    for (int i = 0; i < warnings; ++i) rows.push_back(said(i, Change::raised, now));
    store(data, rows);
    Process first = start(data, at);
    ASSERT_TRUE(eventually([&] { return !first.running() || settled(data, warnings); }));
    // The last step comes after the last commit: what is settled may be about to die.
    (void)eventually([&] { return !first.running(); }, std::chrono::seconds{1});
    const bool killed = !first.running();
    if (!killed) first.kill();
    died += killed ? 1 : 0;
    store(data, {said(0, Change::cleared, now + std::chrono::seconds{30})});
    Process second = start(data, at);
    ASSERT_TRUE(eventually([&] { return !second.running() || settled(data, warnings + 1); }));
    if (second.running()) second.kill();
    Process third = settled(data, warnings + 1) ? Process() : start(data, 0);
    ASSERT_TRUE(eventually([&] { return settled(data, warnings + 1); })) << "killed at step " << at << table(data);
    third.kill();

    std::map<std::string, std::vector<std::string>> by_thread;
    std::map<std::string, int> copies;
    const auto mails = server_.mails();
    for (std::size_t i = before; i < mails.size(); ++i) {
      by_thread[mails[i]["references"]].push_back(mails[i]["subject"]);
      ++copies[mails[i]["message_id"]];
    }
    EXPECT_EQ(by_thread.size(), static_cast<std::size_t>(warnings)) << "killed at step " << at;
    for (const auto& [thread, subjects] : by_thread) {
      EXPECT_TRUE(subjects.front().starts_with("ACT ")) << subjects.front() << ", killed at step " << at;
      EXPECT_TRUE(std::ranges::is_sorted(subjects)) << "\"ACT\" comes before \"Over\", killed at step " << at;
    }
    for (const auto& [id, count] : copies) EXPECT_LE(count, 2) << "killed at step " << at;
    if (!killed) break;
  }
  EXPECT_GE(died, 1 + 3 * warnings) << "planned, then handed over, sent and stored for each";
}

}  // namespace
}  // namespace driftline::testing
