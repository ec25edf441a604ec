#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "gateway/app/thresholds_json.h"

namespace driftline {
namespace {

// Source: RFC 7396 (October 2014), appendix A, all 15 rows; READ-COPY (two transcriptions agree), COMPUTED
// again with the algorithm of its section 2.
struct Example {
  const char* original;
  const char* patch;
  const char* result;
};
constexpr Example examples[] = {
    {R"({"a":"b"})", R"({"a":"c"})", R"({"a":"c"})"},
    {R"({"a":"b"})", R"({"b":"c"})", R"({"a":"b","b":"c"})"},
    {R"({"a":"b"})", R"({"a":null})", R"({})"},
    {R"({"a":"b","b":"c"})", R"({"a":null})", R"({"b":"c"})"},
    {R"({"a":["b"]})", R"({"a":"c"})", R"({"a":"c"})"},
    {R"({"a":"c"})", R"({"a":["b"]})", R"({"a":["b"]})"},
    {R"({"a":{"b":"c"}})", R"({"a":{"b":"d","c":null}})", R"({"a":{"b":"d"}})"},
    {R"({"a":[{"b":"c"}]})", R"({"a":[1]})", R"({"a":[1]})"},
    {R"(["a","b"])", R"(["c","d"])", R"(["c","d"])"},
    {R"({"a":"b"})", R"(["c"])", R"(["c"])"},
    {R"({"a":"foo"})", R"(null)", R"(null)"},
    {R"({"a":"foo"})", R"("bar")", R"("bar")"},
    {R"({"e":null})", R"({"a":1})", R"({"e":null,"a":1})"},
    {R"([1,2])", R"({"a":"b","c":null})", R"({"a":"b"})"},
    {R"({})", R"({"a":{"bb":{"ccc":null}}})", R"({"a":{"bb":{}}})"},
};

TEST(MergePatch, gives_the_results_of_rfc_7396) {
  // Layers would mean something else than the standard that the documentation names.
  for (const Example& example : examples) {
    Json json = Json::parse(example.original);
    json.merge_patch(Json::parse(example.patch));
    EXPECT_EQ(json, Json::parse(example.result)) << example.original << " with " << example.patch;
  }
}

TEST(MergePatch, layers_are_merged_the_same_way) {
  // A layer could be applied in the wrong order or not at all.
  for (const Example& example : examples) {
    const Json first = Json::parse(example.original), second = Json::parse(example.patch),
               result = Json::parse(example.result);
    if (!first.is_object() || !second.is_object() ||
        std::string(example.original).find("null") != std::string::npos)
      continue;
    EXPECT_EQ(merged({{"first", &first}, {"second", &second}}), result)
        << example.original << " with " << example.patch;
  }
}

TEST(JsonPointer, of_a_problem_is_escaped_as_rfc_6901_says) {
  // A place named in a message could not be found by a program. Source: RFC 6901, section 3: "~" is "~0", "/"
  // is "~1".
  EXPECT_EQ(pointer_step("a/b"), "/a~1b");
  EXPECT_EQ(pointer_step("m~n"), "/m~0n");
  EXPECT_EQ(pointer_step(""), "/");
}

}  // namespace
}  // namespace driftline
