// RFC 6901 (April 2013), JSON Pointer. Cases: tests/reference/data/json_pointer_rfc6901.json, sections 5 and 6; section 4 and
// 5 read in the RFC, section 6 in transcriptions of it.
#include "gateway/telemetry/json_pointer.h"

#include <gtest/gtest.h>
#include <simdjson.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

namespace driftline {
namespace {

TEST(JsonPointerRfc6901, the_examples_of_the_rfc_are_found) {
  // Mappings would read another field than the one they name.
  std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/reference/data/json_pointer_rfc6901.json");
  const auto table = nlohmann::json::parse(file);
  const std::string text = table["document"].dump();
  simdjson::dom::parser parser;
  simdjson::dom::element document;
  ASSERT_EQ(parser.parse(text).get(document), simdjson::SUCCESS);
  std::size_t cases = 0;
  for (const auto& row : table["cases"]) {
    const auto pointer = JsonPointer::parse(row["pointer"].get<std::string>());
    ASSERT_TRUE(pointer) << row["pointer"];
    simdjson::dom::element found;
    ASSERT_TRUE(pointer->find(document, found)) << row["pointer"];
    EXPECT_EQ(nlohmann::json::parse(simdjson::to_string(found)), row["value"]) << row["pointer"];
    ++cases;
  }
  EXPECT_EQ(cases, 12U);
}

TEST(JsonPointerRfc6901, what_the_rfc_excludes_is_not_found) {
  // Section 3 (syntax) and section 4 (evaluation): no leading zero, "-" is behind the end, "~" only before 0 or 1, "~01" is "~1".
  for (const char* text : {"foo", "a/b", "/~", "/~2", "/a~", "#/foo"}) EXPECT_FALSE(JsonPointer::parse(text)) << text;
  const std::string text = R"({"foo":["bar","baz"],"~1":3,"01":{"":4}})";
  simdjson::dom::parser parser;
  simdjson::dom::element document;
  ASSERT_EQ(parser.parse(text).get(document), simdjson::SUCCESS);
  simdjson::dom::element found;
  for (const char* pointer : {"/foo/01", "/foo/-", "/foo/2", "/foo/+1", "/foo/99999999999999999999", "/foo/", "/foo/0/0", "/bar", "/~01/x"})
    EXPECT_FALSE(JsonPointer::parse(pointer)->find(document, found)) << pointer;
  ASSERT_TRUE(JsonPointer::parse("/~01")->find(document, found));
  EXPECT_EQ(std::int64_t(found), 3);
  ASSERT_TRUE(JsonPointer::parse("/01/")->find(document, found));
  EXPECT_EQ(std::int64_t(found), 4);
}

}  // namespace
}  // namespace driftline
