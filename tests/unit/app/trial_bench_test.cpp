// The Trial bench over a history, as the page asks it.
#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "gateway/app/config.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/plant.h"
#include "gateway/app/trial/bench.h"
#include "gateway/app/trial/desk.h"
#include "gateway/history/history.h"
#include "gateway/telemetry/recording.h"
#include "tests/support/temp_folder.h"

namespace driftline::trial {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using driftline::testing::TempFolder;

// The leak of tests/unit/replay, judged and stored.
class TrialBench : public ::testing::Test {
 protected:
  TrialBench() {
    const fs::path folder = fs::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/replay/slow-leak-in-five-days";
    auto loaded = load_config((folder / "plant.json").string());
    settings_ = loaded.config->plant;
    settings_.keep_fed = true;
    for (auto& [id, context] : settings_.stations) context.thresholds.turns_to_learn = 20;
    auto store = *history::History::open({.file = file()});
    Plant plant(settings_);
    auto reader = RecordingReader::open({folder / "recording.ndjson.gz"});
    std::vector<PlantMessage> messages;
    RecordFault fault;
    for (PlantMessage next; reader->next(next.message, fault) == RecordingReader::Step::message; next = {}) {
      next.position = messages.size() + 1;
      messages.push_back(next);
    }
    const auto keep = [&](Judged&& judged) {
      for (const auto& row : judged.warnings) raised_ += row.change == Change::raised && row.condition == Condition::slow_to_pressure ? 1 : 0;
      history::Batch batch;
      append_judged(batch, std::move(judged));
      EXPECT_TRUE(store->commit(batch).has_value());
    };
    keep(plant.judge(messages));
    keep(plant.finish());
    keep(plant.checkpoint(100));
  }
  [[nodiscard]] std::string file() const { return data_.file("history.db"); }
  [[nodiscard]] StationId station() const { return settings_.stations.begin()->first; }

  const TempFolder data_;
  PlantSettings settings_;
  int raised_ = 0;
};

// An engineer decides on what is drawn here: it must be what the gateway raised.
TEST_F(TrialBench, tells_what_was_raised_and_what_another_threshold_would_have) {
  Bench bench(file(), [&](const StationId& id) { return settings_.stations.at(id); });
  const auto answer = bench.answer(station(),
                                   R"({"condition":"slow-to-pressure","candidates":[{"name":"blind","thresholds":{"conditions":{"slow-to-pressure":{"watched":false}}}},
                                       {"name":"as now","thresholds":{}}],"vary":"slow-to-pressure/smallest_shift_pct=1..8:5"})",
                                   std::chrono::seconds{1});
  ASSERT_TRUE(answer.has_value()) << answer.error();
  const json told = json::parse(*answer);
  ASSERT_GE(raised_, 1);
  ASSERT_EQ(told["sets"].size(), 3U);
  EXPECT_EQ(static_cast<int>(told["sets"][0]["warnings"].size()), raised_);
  EXPECT_TRUE(told["sets"][1]["warnings"].empty());
  EXPECT_EQ(static_cast<int>(told["sets"][1]["gone"].size()), raised_);
  EXPECT_EQ(told["sets"][2]["warnings"].size(), told["sets"][0]["warnings"].size());
  for (const json& warning : told["sets"][2]["warnings"]) EXPECT_EQ(warning["difference"], "same");
  EXPECT_FALSE(told["lines"].empty());
  EXPECT_EQ(told["lines"][0]["value"].size(), told["lines"][0]["usual"].size());
  const auto again = bench.answer(station(), R"({"condition":"slow-vent"})", std::chrono::seconds{2});
  ASSERT_TRUE(again.has_value()) << again.error();
  EXPECT_EQ(json::parse(*again)["figure"], "vent_s");
}

// What somebody types into an address or a script is answered, not thrown.
TEST_F(TrialBench, answers_questions_that_are_none) {
  Bench bench(file(), [&](const StationId& id) { return rules::StationContext{id, {}, {}}; });
  EXPECT_FALSE(bench.answer({"no", "such"}, "{}", {}).has_value());
  for (const char* wrong : {"", "[]", R"({"condition":"pump-broken"})", R"({"vary":"plan_days=9..1"})", R"({"vary":7})", R"({"candidates":{}})", R"({"candidates":[7]})",
                            R"({"candidates":[{"thresholds":{"plan_day":3}}]})", R"({"candidates":[{"thresholds":{}},{"thresholds":{}},{"thresholds":{}},{"thresholds":{}},{"thresholds":{}}]})",
                            R"({"what":1})"})
    EXPECT_FALSE(bench.answer(station(), wrong, {}).has_value()) << wrong;
}

// A proposal made on the page must be the one that the command line sees.
TEST(TrialDesk, proposes_puts_in_force_and_takes_back) {
  const TempFolder folder;
  folder.write("plant.json", R"({ "stations": [ { "site": "northyard", "station": "ps-01" } ] })");
  const std::string config = folder.path().string();
  const Time now = time_from_ms(1'772'344'800'000);
  const auto proposed = propose_json(config, "", R"({"for":"northyard/ps-01","thresholds":{"plan_days":30},"why":"fewer calls","by":"an engineer"})", now);
  ASSERT_TRUE(proposed.has_value()) << proposed.error();
  const std::string name = json::parse(*proposed)["name"];
  const auto act = [&](const std::string& what) { return act_json(config, "somebody signed in", name, R"({"act":")" + what + R"(","why":"so"})", now); };
  const auto enforced = act("enforce");
  ASSERT_TRUE(enforced.has_value()) << enforced.error();
  EXPECT_EQ(json::parse(*enforced)["state"], "in-force");
  EXPECT_EQ(json::parse(*enforced)["files"][0], "plant.json");
  EXPECT_EQ(load_config(config).config->plant.stations.begin()->second.thresholds.plan_days, 30);
  EXPECT_FALSE(act("enforce").has_value());
  EXPECT_FALSE(act("burn").has_value());
  ASSERT_TRUE(act("take-back").has_value());
  const json all = json::parse(*proposals_json(config, ""));
  EXPECT_EQ(all["proposals"][0]["state"], "taken-back");
  EXPECT_TRUE(all["proposals"][0]["silence"].is_null());
  EXPECT_EQ(all["groups"].dump(), R"([{"for":"site northyard","stations":["northyard/ps-01"]},{"for":"all","stations":["northyard/ps-01"]}])");
  EXPECT_EQ(all["proposals"][0]["done"][1]["by"], "somebody signed in");
  EXPECT_FALSE(propose_json("", "x", R"({"for":"all","thresholds":{"plan_days":30},"why":"y"})", now).has_value());
  EXPECT_FALSE(propose_json(config, "", R"({"for":"all","thresholds":{"plan_days":30},"why":"y"})", now).has_value()) << "nobody proposes it";
  EXPECT_FALSE(act_json(config, "x", "../plant", R"({"act":"enforce","why":"y"})", now).has_value());
}

}  // namespace
}  // namespace driftline::trial
