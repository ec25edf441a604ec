#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
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

}  // namespace
}  // namespace driftline
