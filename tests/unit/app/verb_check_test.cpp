#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "gateway/app/verbs.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

struct Said {
  int code = 0;
  std::string out;
};

Said check(const std::vector<std::string>& arguments) {
  ::testing::internal::CaptureStdout();
  ::testing::internal::CaptureStderr();
  const int code = verb_check(arguments);
  (void)::testing::internal::GetCapturedStderr();
  return {code, ::testing::internal::GetCapturedStdout()};
}

TEST(VerbCheck, answers_with_its_exit_code_whether_the_folder_can_be_used) {
  // A deployment script would roll out what the gateway refuses.
  const testing::TempFolder folder;
  EXPECT_EQ(check({"--config", folder.path().string()}).code, exit_done);
  folder.write("gateway.json", R"({"threads": 0})");
  EXPECT_EQ(check({"--config", folder.path().string()}).code, exit_failed);
  EXPECT_EQ(check({"--config", folder.path().string(), "--explain", "no-slash"}).code, exit_unusable);
  EXPECT_EQ(check({}).code, exit_unusable);
}

TEST(VerbCheck, tells_a_program_the_same_as_a_person) {
  // A script would have to read sentences.
  const testing::TempFolder folder;
  folder.write("gateway.json", R"({"threads": 0})");
  const auto json = nlohmann::json::parse(check({"--config", folder.path().string(), "--json"}).out);
  EXPECT_EQ(json["usable"], false);
  ASSERT_EQ(json["problems"].size(), 1U);
  EXPECT_EQ(json["problems"][0]["file"], "gateway.json");
  EXPECT_EQ(json["problems"][0]["at"], "/threads");
  const std::string text = check({"--config", folder.path().string()}).out;
  EXPECT_NE(text.find("gateway.json  /threads"), std::string::npos);
  EXPECT_NE(text.find(json["problems"][0]["remedy"].get<std::string>()), std::string::npos);
}

TEST(VerbCheck, explains_a_station_s_thresholds) {
  // An engineer could not tell which of five files to edit.
  const testing::TempFolder folder;
  folder.write("rules.json", R"({"act_days": 2})");
  folder.write("plant.json", R"({"stations": [{"site": "northyard", "station": "ps-01"}]})");
  const auto json = nlohmann::json::parse(
      check({"--config", folder.path().string(), "--json", "--explain", "northyard/ps-01"}).out);
  bool found = false;
  for (const auto& threshold : json["thresholds"])
    if (threshold["name"] == "act_days")
      found = threshold["from"] == "rules.json" && threshold["value"] == 2.0;
  EXPECT_TRUE(found);
}

std::string example_duty_list() {
  std::ostringstream text;
  text << std::ifstream(std::filesystem::path(DRIFTLINE_SOURCE_DIR) / "config/duty.json.example").rdbuf();
  return text.str();
}

TEST(VerbCheck, says_who_would_be_told_of_a_warning_and_why) {
  // Whoever sets up the duty list would learn at night that nobody comes. The example is what people copy.
  const testing::TempFolder folder;
  folder.write("duty.json", example_duty_list());
  folder.write("secrets/mail", "an invented password");
  folder.write("secrets/chat", "an invented key of thirty bytes");
  const auto who = [&](const std::string& asked) { return check({"--config", folder.path().string(), "--who", asked}); };
  const Said act = who("northyard/ps-01/line-2:slow-to-pressure:act@2026-03-01T22:30:00Z");
  EXPECT_EQ(act.code, exit_done) << act.out;
  EXPECT_NE(act.out.find("a Sunday, 23:30 in Europe/Berlin"), std::string::npos) << act.out;
  EXPECT_NE(act.out.find("at once: ben"), std::string::npos) << act.out;
  EXPECT_NE(act.out.find("after 15 min without an answer: anna, mail anna@plant.example, webhook chat @anna"), std::string::npos) << act.out;
  const Said plan = who("westquay/ps-07:reservoir-low:plan@2026-07-01T21:30:00Z");
  EXPECT_NE(plan.out.find("\"go now\" begins at act"), std::string::npos) << plan.out;
  EXPECT_NE(plan.out.find("quiet hours hold it back until 2026-07-02T05:00:00.000Z"), std::string::npos) << plan.out;
  EXPECT_NE(who("northyard/ps-01:slow-vent:notice@2026-03-01T12:00:00Z").out.find("the daily digest tells it"), std::string::npos);
  for (const char* wrong : {"northyard/ps-01", "northyard/ps-01:slow-vent", "northyard/ps-01:slow:act", "northyard/ps-01/line-9:slow-vent:act", "northyard/ps-01:slow-vent:act@noon"})
    EXPECT_EQ(who(wrong).code, exit_unusable) << wrong;
}

}  // namespace
}  // namespace driftline
