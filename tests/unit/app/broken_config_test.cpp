#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <vector>

#include "gateway/app/config.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;
const fs::path broken = fs::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/app/broken-config";

std::vector<fs::path> cases() {
  std::vector<fs::path> all;
  for (const auto& entry : fs::directory_iterator(broken))
    if (entry.is_directory()) all.push_back(entry.path());
  std::ranges::sort(all);
  return all;
}

std::string what_is_said(const fs::path& folder) {
  const ConfigOutcome outcome = load_config(folder.string());
  std::string text;
  for (const ConfigProblem& problem : outcome.problems) text += text_of(problem) + "\n";
  for (const ConfigProblem& caution : outcome.cautions) text += "caution: " + text_of(caution) + "\n";
  return text;
}

std::string expected(const fs::path& folder) {
  std::ostringstream text;
  text << std::ifstream(folder / "expected.txt").rdbuf();
  return text.str();
}

bool may_update() {
  return std::getenv("DRIFTLINE_UPDATE") != nullptr && std::getenv("CI") == nullptr;
}

TEST(BrokenConfig, each_sample_is_answered_with_its_words) {
  // An engineer would not learn what is wrong, or where, or what would be right.
  ASSERT_GE(cases().size(), 30U);
  for (const fs::path& folder : cases()) {
    if (folder.filename() == "canary") continue;
    if (may_update()) std::ofstream(folder / "expected.txt") << what_is_said(folder);
    EXPECT_FALSE(what_is_said(folder).empty()) << folder;
    EXPECT_EQ(what_is_said(folder), expected(folder)) << folder.filename();
  }
}

TEST(BrokenConfig, the_loop_can_fail) {
  // Were the comparison blind, every sample would pass.
  EXPECT_NE(what_is_said(broken / "canary"), expected(broken / "canary"));
}

TEST(BrokenConfig, what_has_a_problem_gives_no_configuration) {
  // A gateway would start with half of what was meant.
  for (const fs::path& folder : cases()) {
    const ConfigOutcome outcome = load_config(folder.string());
    EXPECT_EQ(outcome.config.has_value(), outcome.problems.empty()) << folder.filename();
  }
}

TEST(BrokenConfig, no_secret_is_repeated) {
  // A password put into the wrong place would travel into logs and tickets.
  for (const char* sample : {"password-in-the-open", "password-as-variable-name", "duty-password-in-the-open", "duty-key-too-short"})
    EXPECT_EQ(what_is_said(broken / sample).find("canal-9"), std::string::npos) << sample;
}

}  // namespace
}  // namespace driftline
