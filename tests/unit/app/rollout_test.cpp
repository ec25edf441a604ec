#include "gateway/app/rollout.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <sstream>

#include "rules/records/time_text.h"
#include "tests/support/temp_folder.h"

namespace driftline::rollout {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

const Time monday = *parse_rfc3339("2026-03-02T08:00:00Z");

const char* const plant_text = R"({
  "stations": [
    // the old ones
    { "site": "northyard", "station": "ps-01", "kind": "twin" },   // by the gate
    {
      "site": "northyard",
      "station": "ps-02",
      "thresholds": { "plan_days": 21 }  // crew every third week
    },
    { "site": "southpit", "station": "ps-03", "kind": "twin" }
  ]
}
)";

class Rollout : public ::testing::Test {
 protected:
  Rollout() {
    folder_.write("plant.json", plant_text);
    folder_.write("kinds/twin.json", "// twin lines\n{\n  \"turns_to_learn\": 60  // long lines\n}\n");
    folder_.write("rules.json", "{}\n");
  }
  [[nodiscard]] std::string config() const { return folder_.path().string(); }
  [[nodiscard]] std::string text(const std::string& name) const {
    std::ostringstream out;
    out << std::ifstream(folder_.path() / name, std::ios::binary).rdbuf();
    return out.str();
  }
  std::string proposed(const std::string& target, const std::string& thresholds) {
    const auto proposal = propose(config(), {target, thresholds, "an engineer", "fewer calls at night"}, monday);
    EXPECT_TRUE(proposal.has_value()) << proposal.error();
    return proposal ? proposal->name : "";
  }
  Thresholds in_force(const StationId& id) {
    const ConfigOutcome outcome = load_config(config());
    EXPECT_TRUE(outcome.config.has_value());
    return outcome.config->plant.stations.at(id).thresholds;
  }
  const driftline::testing::TempFolder folder_;
};

// What is written must be in force, and what is taken back must be gone to the last byte, or nobody dares to try.
TEST_F(Rollout, a_proposal_put_in_force_is_written_and_taken_back_to_the_byte) {
  for (const char* target : {"northyard/ps-01", "northyard/ps-02", "northyard/ps-01, northyard/ps-02, southpit/ps-03", "kind twin", "all"}) {
    SCOPED_TRACE(target);
    const std::string before[]{text("plant.json"), text("kinds/twin.json"), text("rules.json")};
    const std::string name = proposed(target, R"({"plan_days":30,"conditions":{"slow-vent":{"smallest_shift_pct":12}}})");
    EXPECT_EQ(text("plant.json"), before[0]) << "a proposal alone changes nothing";
    const auto done = put_in_force(config(), name, "an engineer", "agreed", monday);
    ASSERT_TRUE(done.has_value()) << done.error();
    EXPECT_EQ(done->proposal.state(), Act::in_force);
    const ConfigOutcome outcome = load_config(config());
    for (const StationId& id : stations_of(done->proposal, outcome)) {
      EXPECT_EQ(in_force(id).conditions[5].smallest_shift, 12) << id.station;
      EXPECT_EQ(in_force(id).plan_days, id.station == "ps-02" && std::string(target) == "all" ? 21 : 30) << id.station;
    }
    EXPECT_THAT(text("plant.json"), HasSubstr("// by the gate"));
    EXPECT_THAT(text("kinds/twin.json"), HasSubstr("// long lines"));
    const auto back = take_back(config(), name, "an engineer", "calls went on", monday);
    ASSERT_TRUE(back.has_value()) << back.error();
    EXPECT_EQ(back->proposal.state(), Act::taken_back);
    EXPECT_EQ(text("plant.json"), before[0]);
    EXPECT_EQ(in_force({"northyard", "ps-02"}).plan_days, 21);
    EXPECT_EQ(in_force({"southpit", "ps-03"}).turns_to_learn, 60);
    EXPECT_FALSE(take_back(config(), name, "an engineer", "again", monday).has_value());
  }
}

// An engineer who is told "in force" and is not heeded by a nearer file would trust the wrong thing.
TEST_F(Rollout, a_nearer_file_that_wins_is_named) {
  const auto done = put_in_force(config(), proposed("all", R"({"plan_days":30})"), "an engineer", "agreed", monday);
  ASSERT_TRUE(done.has_value()) << done.error();
  EXPECT_THAT(done->notes, ElementsAre(HasSubstr("northyard/ps-02 keeps another value")));
}

// A configuration that cannot be used must never be what is left on the disk.
TEST_F(Rollout, what_would_break_the_configuration_is_refused_and_nothing_is_changed) {
  const std::string name = proposed("northyard/ps-02", R"({"act_days":25})");
  const auto done = put_in_force(config(), name, "an engineer", "agreed", monday);
  ASSERT_FALSE(done.has_value());
  EXPECT_THAT(done.error(), HasSubstr("nothing was changed"));
  EXPECT_EQ(text("plant.json"), plant_text);
  EXPECT_EQ(proposal_named(config(), name)->state(), Act::proposed);
}

// Taking back what a colleague has changed since would undo their work unseen.
TEST_F(Rollout, what_was_changed_by_hand_since_is_not_taken_back) {
  const std::string name = proposed("northyard/ps-02", R"({"plan_days":30})");
  ASSERT_TRUE(put_in_force(config(), name, "an engineer", "agreed", monday).has_value());
  std::string by_hand = text("plant.json");
  by_hand.replace(by_hand.find("30"), 2, "28");
  folder_.write("plant.json", by_hand);
  const auto back = take_back(config(), name, "an engineer", "no", monday);
  ASSERT_FALSE(back.has_value());
  EXPECT_THAT(back.error(), HasSubstr("has been changed since"));
  EXPECT_EQ(text("plant.json"), by_hand);
}

// Who, when and why is what the log is for.
TEST_F(Rollout, all_that_was_done_is_kept_with_who_when_and_why) {
  const std::string name = proposed("kind twin", R"({"plan_days":30})");
  ASSERT_TRUE(go_silent(config(), name, 14, "another engineer", "see first", monday + std::chrono::hours{1}).has_value());
  ASSERT_TRUE(put_in_force(config(), name, "a third", "good", monday + std::chrono::hours{2}).has_value());
  EXPECT_FALSE(withdraw(config(), name, "x", "y", monday).has_value()) << "it is in force";
  std::vector<ConfigProblem> problems;
  const auto all = proposals(config(), problems);
  EXPECT_THAT(problems, IsEmpty());
  ASSERT_THAT(all, SizeIs(1));
  ASSERT_THAT(all[0].done, SizeIs(3));
  EXPECT_EQ(all[0].done[1].act, Act::silent);
  EXPECT_EQ(all[0].done[1].days, 14);
  EXPECT_EQ(all[0].done[1].by, "another engineer");
  EXPECT_EQ(all[0].done[2].why, "good");
  EXPECT_EQ(all[0].done[2].at, monday + std::chrono::hours{2});
  EXPECT_THAT(load_config(config()).cautions, IsEmpty()) << "proposals are no part of the configuration";
}

// A proposal that names nobody, nothing or nonsense is refused when it is made, not when it is needed.
TEST_F(Rollout, what_cannot_be_proposed_is_told_why) {
  const auto why = [&](const std::string& target, const std::string& thresholds, const std::string& reason = "x") {
    const auto proposal = propose(config(), {target, thresholds, "an engineer", reason}, monday);
    return proposal ? "accepted" : proposal.error();
  };
  EXPECT_THAT(why("northyard/ps-99", R"({"plan_days":30})"), HasSubstr("is no configured station"));
  EXPECT_THAT(why("site nowhere", R"({"plan_days":30})"), HasSubstr("no station of the site"));
  EXPECT_THAT(why("all", R"({"plan_day":30})"), HasSubstr("\"plan_days\""));
  EXPECT_THAT(why("all", "{}"), HasSubstr("changes no threshold"));
  EXPECT_THAT(why("all", R"({"plan_days":30})", ""), HasSubstr("reason"));
  EXPECT_THAT(why("", R"({"plan_days":30})"), HasSubstr("for whom"));
  EXPECT_FALSE(proposal_named(config(), "../plant").has_value());
}

// "Reloaded" tells nobody whether it was the change they meant.
TEST_F(Rollout, a_reload_can_say_what_changed_for_whom) {
  const PlantSettings before = load_config(config()).config->plant;
  EXPECT_THAT(changes_between(before, before), IsEmpty());
  ASSERT_TRUE(put_in_force(config(), proposed("northyard/ps-01", R"({"plan_days":30,"silent_after_s":900})"), "e", "w", monday).has_value());
  EXPECT_THAT(changes_between(before, load_config(config()).config->plant),
              ElementsAre("northyard/ps-01: plan_days 14.0 -> 30.0, silent_after_s the rule's own -> 900.0"));
}

}  // namespace
}  // namespace driftline::rollout
