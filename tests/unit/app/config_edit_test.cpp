#include "gateway/app/config_edit.h"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <random>

#include "gateway/app/config_json.h"

namespace driftline {
namespace {

std::string lay(const std::string& text, const std::string& pointer, const std::string& patch) {
  const auto out = edited(text, pointer, Json::parse(patch));
  return out ? *out : "error: " + out.error();
}

const std::string plant = R"({
  // as built in 2019
  "stations": [
    { "site": "northyard", "station": "ps-01", "lines": 2 },  // by the gate
    {
      "site": "northyard", "station": "ps-02",
      "thresholds": {
        "plan_days": 21,           // the crew comes every third week
        "conditions": { "slow-vent": { "smallest_shift_pct": 10 } } /* long line */
      },
      "note": "a \"{[\" in a text, // and no comment"
    }
  ]
}
)";

// A file that a person has written is theirs: a roll-out that lays it out anew or drops a comment will not be used twice.
TEST(ConfigEdit, a_change_touches_nothing_but_what_changes) {
  std::string expected = plant;
  expected.replace(expected.find("21"), 2, "14");
  EXPECT_EQ(lay(plant, "/stations/1/thresholds", R"({"plan_days":14})"), expected);

  expected = plant;
  expected.replace(expected.find("\"lines\": 2 }"), 12, "\"lines\": 2, \"thresholds\": { \"act_days\": 2 } }");
  EXPECT_EQ(lay(plant, "/stations/0/thresholds", R"({"act_days":2})"), expected);

  expected = plant;
  expected.replace(expected.find("{ \"smallest_shift_pct\": 10 }"), 28, "{ \"smallest_shift_pct\": 8.5, \"watched\": true }");
  EXPECT_EQ(lay(plant, "/stations/1/thresholds", R"({"conditions":{"slow-vent":{"smallest_shift_pct":8.5,"watched":true}}})"), expected);
}

// A new member goes where a person would put it: on its own line, before no comment that belongs to another.
TEST(ConfigEdit, a_new_member_stands_on_its_own_line_behind_the_comment_of_the_last) {
  std::string expected = plant;
  const std::string last = "} } /* long line */\n";
  expected.replace(expected.find(last), last.size(), "} }, /* long line */\n        \"turns_to_learn\": 60\n");
  EXPECT_EQ(lay(plant, "/stations/1/thresholds", R"({"turns_to_learn":60})"), expected);
  EXPECT_EQ(lay("{}\n", "", R"({"plan_days":14})"), "{\n  \"plan_days\": 14\n}\n");
  EXPECT_EQ(lay("// all\n{\n}\n", "", R"({"conditions":{"slow-vent":{"watched":false}}})"),
            "// all\n{\n  \"conditions\": { \"slow-vent\": { \"watched\": false } }\n}\n");
}

// Taking back must leave the file as it was.
TEST(ConfigEdit, what_was_added_is_taken_out_again) {
  for (const char* patch : {R"({"turns_to_learn":60})", R"({"act_days":1,"turns_to_learn":60})", R"({"conditions":{"slow-vent":{"watched":true}}})"}) {
    Json back = Json::parse(patch);
    for (auto& value : back) value = value.is_object() ? Json{{"slow-vent", {{"watched", nullptr}}}} : Json(nullptr);
    EXPECT_EQ(lay(lay(plant, "/stations/1/thresholds", patch), "/stations/1/thresholds", back.dump()), plant) << patch;
  }
  EXPECT_EQ(lay(plant, "/stations/1", R"({"thresholds":null,"note":null})"), R"({
  // as built in 2019
  "stations": [
    { "site": "northyard", "station": "ps-01", "lines": 2 },  // by the gate
    {
      "site": "northyard", "station": "ps-02"
    }
  ]
}
)");
}

// Whatever the layout: what is read afterwards is what a merge patch gives (RFC 7396), or the wrong threshold is in force.
TEST(ConfigEdit, what_is_read_afterwards_is_what_the_merge_patch_gives) {
  std::mt19937 random(7);
  const auto pick = [&](int n) { return static_cast<int>(random() % static_cast<unsigned>(n)); };
  const std::vector<std::string> keys{"plan_days", "act_days", "a/b", "c~d", "conditions"};
  const std::function<Json(int, bool)> invent = [&](int depth, bool nulls) -> Json {
    Json out = Json::object();
    for (int i = pick(4); i > 0; --i) {
      const std::string& key = keys[static_cast<std::size_t>(pick(5))];
      const int kind = pick(nulls ? 5 : 4);
      if (kind == 4)
        out[key] = nullptr;
      else if (kind == 3 && depth > 0)
        out[key] = invent(depth - 1, nulls);
      else
        out[key] = kind == 0 ? Json(pick(100)) : kind == 1 ? Json("te}xt, // \"") : Json::array({1, "]"});
    }
    return out;
  };
  const auto laid_out = [&](const Json& document) {
    std::string text = document.dump(pick(2) == 0 ? -1 : 2 * pick(3));
    for (std::size_t at = 0; (at = text.find(",\n", at)) != std::string::npos; at += 2)
      if (pick(3) == 0) text.replace(at, 2, ", // why, \"{\n");
    return text + "\n";
  };
  for (int round = 0; round < 500; ++round) {
    const Json document{{"list", {1, invent(2, false)}}, {"x", 1}};
    const Json patch = invent(2, true);
    Json expected = document;
    expected["list"][1].merge_patch(patch);
    const std::string before = laid_out(document);
    const auto after = edited(before, "/list/1", patch);
    ASSERT_TRUE(after.has_value()) << before << patch;
    std::vector<ConfigProblem> problems;
    const auto read = read_json_text(*after, "x", problems);
    ASSERT_TRUE(read.has_value()) << before << "\npatch " << patch << "\nafter " << *after << (problems.empty() ? "" : problems[0].why);
    // An empty object that a patch would leave behind is not written.
    Json got = *read, wanted = expected;
    const std::function<void(Json&)> prune = [&](Json& j) {
      if (!j.is_structured()) return;
      for (auto& inner : j) prune(inner);
      if (!j.is_object()) return;
      for (auto at = j.begin(); at != j.end();) at = at->is_object() && at->empty() ? j.erase(at) : std::next(at);
    };
    prune(got);
    prune(wanted);
    ASSERT_EQ(got, wanted) << before << "\npatch " << patch << "\nafter " << *after;
  }
}

}  // namespace
}  // namespace driftline
