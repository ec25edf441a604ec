// Silent mode: thresholds judged beside those in force, while the gateway runs.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "gateway/app/config.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/plant.h"
#include "gateway/app/rollout.h"
#include "gateway/app/trial/silent.h"
#include "gateway/app/trial/silent_compare.h"
#include "gateway/app/trial/silent_record.h"
#include "gateway/history/history.h"
#include "gateway/telemetry/recording.h"
#include "tests/support/temp_folder.h"

namespace driftline::trial {
namespace {

namespace fs = std::filesystem;
using driftline::testing::TempFolder;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using std::chrono::milliseconds;

constexpr milliseconds long_enough{60'000};

// The leak of tests/unit/replay, judged and stored in as many pieces as one likes.
class Silent : public ::testing::Test {
 protected:
  Silent() {
    const fs::path folder = fs::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/replay/slow-leak-in-five-days";
    fs::create_directories(config());
    fs::copy_file(folder / "plant.json", fs::path(config()) / "plant.json");
    folder_.write("config/rules.json", R"({"turns_to_learn":20})");
    settings_ = load_config(config()).config->plant;
    settings_.keep_fed = true;
    store_ = *history::History::open({.file = data() + "/history.db"});
    plant_.emplace(settings_);
    auto reader = RecordingReader::open({folder / "recording.ndjson.gz"});
    RecordFault fault;
    for (PlantMessage next; reader->next(next.message, fault) == RecordingReader::Step::message; next = {}) {
      next.position = messages_.size() + 1;
      messages_.push_back(next);
    }
    began_ = messages_.front().message.received;
  }
  [[nodiscard]] std::string config() const { return folder_.file("config"); }
  [[nodiscard]] std::string data() const { return folder_.path().string(); }
  [[nodiscard]] const StationId& station() const { return settings_.stations.begin()->first; }

  std::string silent_proposal(const std::string& thresholds, int days) {
    const auto proposal = rollout::propose(config(), {"all", thresholds, "an engineer", "to see"}, began_);
    EXPECT_TRUE(proposal.has_value()) << proposal.error();
    EXPECT_TRUE(rollout::go_silent(config(), proposal->name, days, "an engineer", "", began_).has_value());
    return proposal->name;
  }
  // The gateway goes on up to a share of the recording.
  void live_until(double share) {
    const auto end = static_cast<std::size_t>(share * static_cast<double>(messages_.size()));
    keep(plant_->judge(std::span(messages_).subspan(taken_, end - taken_)));
    taken_ = end;
    if (share == 1) keep(plant_->finish());
    keep(plant_->checkpoint(100));
  }
  void keep(Judged&& judged) {
    for (const auto& row : judged.warnings) raised_ += row.change == Change::raised ? 1 : 0;
    history::Batch batch;
    append_judged(batch, std::move(judged));
    EXPECT_TRUE(store_->commit(batch).has_value());
  }
  [[nodiscard]] std::unique_ptr<SilentJudge> judge() {
    return std::make_unique<SilentJudge>(config(), data(), [this](const StationId& id) { return settings_.stations.at(id); },
                                         [this](const std::vector<history::RolloutRow>& rows) { noted_ = rows.size(); });
  }
  [[nodiscard]] SilentComparison compared(const std::string& name) {
    const auto proposal = rollout::proposal_named(config(), name);
    const auto comparison = compare_silent(data(), *proposal, rollout::stations_of(*proposal, load_config(config())));
    EXPECT_TRUE(comparison.has_value()) << comparison.error();
    return comparison.value_or(SilentComparison{});
  }

  const TempFolder folder_;
  PlantSettings settings_;
  std::unique_ptr<history::History> store_;
  std::optional<Plant> plant_;
  std::vector<PlantMessage> messages_;
  std::size_t taken_ = 0;
  Time began_{};
  int raised_ = 0;
  std::size_t noted_ = 0;
};

// An engineer would put in force what was never judged, or judged otherwise than it will be.
TEST_F(Silent, says_what_the_thresholds_would_say_and_calls_nobody) {
  const std::string blind = silent_proposal(R"({"conditions":{"slow-to-pressure":{"watched":false}}})", 3);
  const std::string as_now = silent_proposal(R"({"plan_days":14})", 300);
  live_until(1);
  ASSERT_GE(raised_, 1);
  const int told_live = raised_;
  auto silent = judge();
  EXPECT_FALSE(silent->step(later_by_days(began_, 1), long_enough));
  EXPECT_EQ(raised_, told_live);

  const SilentComparison same = compared(as_now);
  ASSERT_EQ(same.stations.size(), 1U);
  EXPECT_EQ(static_cast<int>(same.stations[0].in_force.size()), raised_);
  EXPECT_THAT(lines_of(same), IsEmpty()) << lines_of(same).front();
  EXPECT_THAT(words_of(same), HasSubstr(" 0 gone"));
  const SilentComparison less = compared(blind);
  EXPECT_GE(less.stations[0].silent.gone.size(), 1U);
  EXPECT_THAT(lines_of(less).back(), HasSubstr("gone"));
  EXPECT_EQ(less.not_begun, 0U);
}

// A restart of the gateway would lose what was judged, tell it twice, or begin with an empty baseline.
TEST_F(Silent, goes_on_over_restarts_as_if_nothing_had_happened) {
  const std::string name = silent_proposal(R"({"conditions":{"slow-to-pressure":{"smallest_shift_pct":4}}})", 300);
  for (const double share : {0.2, 0.5, 0.51, 0.8, 1.0}) {
    live_until(share);
    const auto restarted = judge();
    (void)restarted->step(began_, long_enough);
    if (share == 0.8) (void)restarted->step(began_, long_enough);  // nothing new
  }
  const auto in_pieces = read_silent(silent_folder(data()), name);
  ASSERT_TRUE(in_pieces.has_value());
  ASSERT_TRUE(fs::remove(fs::path(silent_folder(data())) / name));
  (void)judge()->step(began_, long_enough);
  const auto at_once = read_silent(silent_folder(data()), name);
  ASSERT_TRUE(at_once.has_value());
  EXPECT_FALSE(at_once->stations.at(0).changes.empty());
  EXPECT_EQ(in_pieces->stations, at_once->stations);
}

// What nobody remembers to ask for is never looked at.
TEST_F(Silent, is_compared_by_itself_when_its_days_are_over_and_only_once) {
  const std::string name = silent_proposal(R"({"conditions":{"slow-to-pressure":{"watched":false}}})", 3);
  live_until(1);
  auto silent = judge();
  (void)silent->step(later_by_days(began_, 2.9), long_enough);
  EXPECT_EQ(rollout::proposal_named(config(), name)->last(rollout::Act::compared), nullptr);
  for (int i = 0; i < 3; ++i) (void)silent->step(later_by_days(began_, 3 + i), long_enough);
  (void)judge()->step(later_by_days(began_, 9), long_enough);
  const auto proposal = rollout::proposal_named(config(), name);
  EXPECT_EQ(std::count_if(proposal->done.begin(), proposal->done.end(), [](const rollout::Done& d) { return d.act == rollout::Act::compared; }), 1);
  EXPECT_EQ(proposal->state(), rollout::Act::silent) << "whoever decides is a person";
  EXPECT_THAT(proposal->last(rollout::Act::compared)->why, HasSubstr("gone"));
  EXPECT_EQ(proposal->last(rollout::Act::compared)->by, "the gateway");
  EXPECT_GE(noted_, 3U);
  ASSERT_TRUE(rollout::put_in_force(config(), name, "an engineer", "as compared", later_by_days(began_, 10)).has_value());
  (void)silent->step(later_by_days(began_, 11), long_enough);
  EXPECT_EQ(rollout::proposal_named(config(), name)->state(), rollout::Act::in_force);
  EXPECT_TRUE(rollout::take_back(config(), name, "an engineer", "so", later_by_days(began_, 12)).has_value());
}

// A file that another version wrote, or half a disk, must not end the gateway.
TEST_F(Silent, a_record_that_cannot_be_read_begins_anew) {
  const std::string name = silent_proposal(R"({"plan_days":20})", 300);
  folder_.write("silent/" + name, "\x01\x02 no record");
  EXPECT_FALSE(read_silent(silent_folder(data()), name).has_value());
  live_until(0.3);
  (void)judge()->step(began_, long_enough);
  EXPECT_TRUE(read_silent(silent_folder(data()), name).has_value());
}

// Many stations begin at once: each round must leave room, and all come in their turn.
TEST_F(Silent, a_round_that_has_no_time_left_goes_on_in_the_next) {
  (void)silent_proposal(R"({"plan_days":20})", 300);
  live_until(0.3);
  auto silent = judge();
  EXPECT_TRUE(silent->step(began_, milliseconds{-1})) << "no time at all";
  EXPECT_FALSE(silent->step(began_, long_enough));
}

}  // namespace
}  // namespace driftline::trial
