#include "gateway/web/target.h"

#include <gtest/gtest.h>
#include <rapidcheck.h>

#include "gateway/web/limits.h"

namespace driftline::web {
namespace {

std::vector<std::string> path_of(std::string_view text) {
  const auto target = parse_target(text);
  return target ? target->path : std::vector<std::string>{"<refused>"};
}

// A station whose name needs escaping would not be found.
TEST(TargetOf, levels_and_parameters_are_decoded_once) {
  const auto target = parse_target("/api/v1/stations/north%79ard/ps-01?of=a%2Fb%2Cc&x=1+2&y=%2541");
  ASSERT_TRUE(target);
  EXPECT_EQ(target->path, (std::vector<std::string>{"api", "v1", "stations", "northyard", "ps-01"}));
  EXPECT_EQ(target->query, (Query{{"of", "a/b,c"}, {"x", "1 2"}, {"y", "%41"}}));
}

// A path that leaves its place would reach what the page does not show.
TEST(TargetOf, what_leads_elsewhere_is_refused) {
  for (const char* const text : {"", "api", "//etc", "/a//b", "/../etc/passwd", "/a/%2e%2e/b", "/a/./b", "/%2e", "/a%2fb", "/a%00", "/a%0d%0ab", "/a%zz", "/a%4", "/%ff",
                                 "/%c0%af", "/%ed%a0%80", "http://elsewhere/x", "*"})
    EXPECT_EQ(path_of(text), (std::vector<std::string>{"<refused>"})) << text;
}

TEST(TargetOf, a_slash_at_the_end_adds_nothing) {  // the same page under two addresses would be two pages
  EXPECT_EQ(path_of("/warnings/"), path_of("/warnings"));
  EXPECT_EQ(path_of("/"), std::vector<std::string>{});
}

// Which of the two the gateway takes must not be a guess.
TEST(TargetOf, a_parameter_that_stands_twice_is_refused) { EXPECT_FALSE(parse_target("/x?a=1&a=2")); }

// Without a bound a client decides how much memory a request takes.
TEST(TargetOf, long_targets_and_many_parameters_are_refused) {
  EXPECT_EQ(parse_target("/" + std::string(target_bytes_max, 'a')).error().status, 414);
  std::string many = "/x?";
  for (int i = 0; i <= parameters_max; ++i) many += "p" + std::to_string(i) + "=1&";
  EXPECT_FALSE(parse_target(many));
}

std::string encoded(std::string_view text) {
  constexpr char digits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    ((out += '%') += digits[byte >> 4U]) += digits[byte & 15U];
  }
  return out;
}

// A byte that no test author thought of would end the gateway.
TEST(TargetOf, any_bytes_are_answered) {
  EXPECT_TRUE(rc::check("parses or refuses", [](const std::string& text) {
    const auto target = parse_target("/" + text);
    if (!target) return;
    for (const std::string& level : target->path) RC_ASSERT(!level.empty() && level != ".." && is_utf8_text(level));
    for (const auto& [name, value] : target->query) RC_ASSERT(is_utf8_text(name) && is_utf8_text(value));
  }));
}

// A value that a client wrote must come to us as it was.
TEST(TargetOf, what_is_written_is_what_is_read) {
  EXPECT_TRUE(rc::check("round trip", [](const std::map<std::string, std::string>& query) {
    std::string text = "/x?";
    Query wanted;
    for (const auto& [name, value] : query) {
      if (name.empty() || !is_utf8_text(name) || !is_utf8_text(value) || wanted.size() == static_cast<std::size_t>(parameters_max)) continue;
      wanted.emplace(name, value);
      text += encoded(name) + "=" + encoded(value) + "&";
    }
    if (text.size() > target_bytes_max) return;
    const auto target = parse_target(text);
    RC_ASSERT(target.has_value());
    RC_ASSERT(target->query == wanted);
  }));
}

// A number that is read wrongly shows the wrong month.
TEST(QueryParameter, numbers_are_whole_and_within_their_bounds) {
  const Query query{{"days", "14"}, {"big", "99999999999999999999"}, {"text", "7 "}, {"none", ""}, {"minus", "-3"}};
  EXPECT_EQ(whole_number(query, "days", 1, 60, 7).value(), 14);
  EXPECT_EQ(whole_number(query, "absent", 1, 60, 7).value(), 7);
  for (const char* const name : {"big", "text", "none", "minus"}) {
    const auto value = whole_number(query, name, 1, 60, 7);
    ASSERT_FALSE(value) << name;
    EXPECT_EQ(value.error().where, std::string("query ") + name);
  }
}

// A misspelt parameter that is passed over shows something else than was asked for.
TEST(QueryParameter, an_unknown_name_is_a_problem_that_names_the_right_ones) {
  const auto known = only({{"lien", "2"}}, {"line", "points"});
  ASSERT_FALSE(known);
  EXPECT_EQ(known.error().remedy, "one of line, points");
}

TEST(QueryParameter, a_moment_is_in_milliseconds_of_years_that_can_be_written) {  // RFC 3339 ends with the year 9999
  EXPECT_TRUE(moment({{"t", "253402300799999"}}, "t").value());
  EXPECT_FALSE(moment({{"t", "253402300800000"}}, "t"));
  EXPECT_FALSE(moment({{"t", "-1"}}, "t"));
}

// Surrogates, overlong forms and controls would come out again in logs and pages.
TEST(Utf8Text, is_what_the_standard_allows_and_no_controls) {
  for (const std::string_view good : {"", "ps-01", "Größe", "油", "\xf0\x9f\x9b\xa2", "two\nlines\tand a tab"}) EXPECT_TRUE(is_utf8_text(good)) << good;
  for (const std::string_view bad : {"\x80", "\xc0\xaf", "\xe0\x80\xaf", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\xf5\x80\x80\x80", "\xe2\x82", "\x1b[2J", "a\rb", "\x7f", "\xc2\x9b"})
    EXPECT_FALSE(is_utf8_text(bad)) << bad;
}

}  // namespace
}  // namespace driftline::web
