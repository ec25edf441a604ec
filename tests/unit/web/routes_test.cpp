#include <set>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "gateway/web/api_document.h"
#include "gateway/web/routes.h"

namespace driftline::web {
namespace {

const char* word_of(Method method) { return method == Method::get ? "get" : method == Method::post ? "post" : "delete"; }

// The document would promise what the gateway does not do, or hide what it does.
TEST(ApiRoutes, are_those_of_the_document) {
  std::set<std::string> documented;
  const auto document = nlohmann::json::parse(api_document_text());
  for (const auto& [path, methods] : document["paths"].items())
    for (const auto& [method, what] : methods.items()) documented.insert(method + " " + path);
  std::set<std::string> answered;
  for (const Route& route : routes()) answered.insert(std::string(word_of(route.method)) + " " + std::string(route.pattern));
  EXPECT_EQ(answered, documented);
}

// A row that the table has twice, or that another hides, would never be reached.
TEST(ApiRoutes, each_is_found_by_its_own_pattern) {
  for (const Route& route : routes()) {
    std::vector<std::string> path;
    std::string_view rest = route.pattern;
    while (!rest.empty()) {
      rest.remove_prefix(1);
      path.emplace_back(rest.substr(0, rest.find('/')));
      rest.remove_prefix(path.back().size());
    }
    EXPECT_EQ(match(route.method, path).route, &route) << route.pattern;
  }
}

TEST(ApiRoutes, names_the_levels_and_knows_a_wrong_method) {  // 404 for a wrong method sends people looking for the path
  const auto found = match(Method::head, {"api", "v1", "stations", "northyard", "ps-01", "turns", "7"});
  ASSERT_NE(found.route, nullptr);
  EXPECT_EQ(found.named, (std::map<std::string, std::string>{{"site", "northyard"}, {"station", "ps-01"}, {"id", "7"}}));
  EXPECT_TRUE(match(Method::post, {"api", "v1", "fleet"}).other_method);
  EXPECT_EQ(match(Method::get, {"api", "v1", "fleet", "x", "y"}).route, nullptr);
}

// What changes something must not be open to those who only look.
TEST(ApiRoutes, what_changes_something_needs_more_than_a_viewer) {
  for (const Route& route : routes()) {
    const bool session = route.pattern.ends_with("/session");
    if (route.who == Who::holder) {  // of a signed link: tests/integration/web/confirm_test.cpp
      EXPECT_EQ(route.pattern, "/confirm/{token}");
      continue;
    }
    EXPECT_TRUE(route.method == Method::get || session || route.who >= Who::responder) << route.pattern;
    EXPECT_TRUE(route.who != Who::anybody || session || route.pattern.ends_with("/openapi.json")) << route.pattern;
  }
}

}  // namespace
}  // namespace driftline::web
