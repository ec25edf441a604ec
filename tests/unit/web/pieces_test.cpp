// The small pure parts: bodies, JSON, thinning, strips, pictures.
#include <cmath>
#include <limits>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <rapidcheck.h>

#include "gateway/web/body.h"
#include "gateway/web/chart.h"
#include "gateway/web/json_text.h"
#include "gateway/web/resources.h"
#include "gateway/web/strips.h"
#include "gateway/web/thinning.h"

namespace driftline::web {
namespace {

// A body that is taken for something else than the sender meant.
TEST(RequestBody, is_one_flat_object_of_known_members) {
  const auto fields = read_body(R"({"kind":"refilled","line":2,"note":null})", {"kind", "line", "note"});
  ASSERT_TRUE(fields);
  EXPECT_EQ(fields->text("kind", 1, 64).value(), "refilled");
  EXPECT_EQ(fields->number("line", 1, 8).value(), 2);
  EXPECT_EQ(fields->text("note", 0, 500).value(), std::nullopt);
  for (const char* const bad : {"", "[]", "7", "{", R"({"line":2.5})", R"({"line":{}})", R"({"line":[1]})", R"({"other":1})", R"({"line":1,"line":2})", R"({"line":true})", "\xff"})
    EXPECT_FALSE(read_body(bad, {"line"})) << bad;
}

TEST(RequestBody, texts_and_numbers_have_bounds_in_characters) {  // 80 letters of any script are a name
  std::string name;
  for (int i = 0; i < 80; ++i) name += "ö";
  EXPECT_TRUE(read_body("{\"by\":\"" + name + "\"}", {"by"})->text("by", 1, 80));
  EXPECT_FALSE(read_body("{\"by\":\"" + name + "ö\"}", {"by"})->text("by", 1, 80));
  EXPECT_FALSE(read_body(R"({"by":""})", {"by"})->text("by", 1, 80));
  EXPECT_FALSE(read_body(R"({"by":"a\u0007"})", {"by"})->text("by", 1, 80));
  EXPECT_FALSE(read_body(R"({"line":9})", {"line"})->number("line", 1, 8));
  EXPECT_FALSE(read_body(R"({"line":18446744073709551615})", {"line"}));
}

// A note with a quote in it would break every list that shows it.
TEST(JsonWriting, any_text_comes_out_as_json_that_reads_back) {
  EXPECT_TRUE(rc::check("reads back", [](const std::string& text) {
    JsonText json;
    json.open('{').put("a", text).put("b", 1).close('}');
    const auto read = nlohmann::json::parse(json.text(), nullptr, false);
    RC_ASSERT(read.is_object());
    RC_ASSERT(read["b"] == 1);
  }));
  JsonText json;
  json.put(std::string("\"\\\n\xc3\xb6\xff<"));
  EXPECT_EQ(json.text(), "\"\\\"\\\\\\n\xc3\xb6\xef\xbf\xbd<\"");
}

TEST(JsonWriting, numbers_are_rounded_and_what_is_none_is_null) {  // "NaN" is no JSON: the whole answer would be lost
  const auto text = [](double value, int decimals) {
    std::string out;
    append_rounded(out, value, decimals);
    return out;
  };
  EXPECT_EQ(text(87.654321, 3), "87.654");
  EXPECT_EQ(text(5, 2), "5");
  EXPECT_EQ(text(-0.001, 2), "0");
  EXPECT_EQ(text(1e15, 1), "1000000000000000");
  EXPECT_EQ(text(std::numeric_limits<double>::quiet_NaN(), 1), "null");
  EXPECT_EQ(text(std::numeric_limits<double>::infinity(), 1), "null");
}

// A spreadsheet that runs what somebody wrote into a note.
TEST(CsvWriting, quotes_what_must_be_and_makes_no_formula) {
  std::string out;
  append_csv(out, "plain");
  append_csv(out, "a,b \"c\"");
  append_csv(out, "=1+1");
  append_csv(out, std::optional<double>{}, 2);
  append_csv(out, std::optional<double>{-1.5}, 2, true);
  EXPECT_EQ(out, "plain,\"a,b \"\"c\"\"\",\"'=1+1\",,-1.5\r\n");
}

// The one turn that matters would be averaged away.
TEST(Thinning, keeps_ends_extremes_gaps_and_what_must_stay) {
  EXPECT_TRUE(rc::check("keeps them", [](const std::vector<int>& values) {
    std::vector<ThinPoint> all;
    for (std::size_t i = 0; i < values.size(); ++i)
      all.push_back({static_cast<std::int64_t>(i * 1000), values[i] % 7 == 0 ? std::nullopt : std::optional<double>(values[i]), values[i] % 11 == 0});
    const auto kept = thin(all, 20);
    RC_ASSERT(std::is_sorted(kept.begin(), kept.end()));
    if (all.empty()) return;
    RC_ASSERT(kept.front() == 0 && kept.back() == all.size() - 1);
    std::optional<double> high;
    std::optional<double> kept_high;
    for (const ThinPoint& p : all)
      if (p.value) high = std::max(high.value_or(*p.value), *p.value);
    for (const std::size_t i : kept)
      if (all[i].value) kept_high = std::max(kept_high.value_or(*all[i].value), *all[i].value);
    RC_ASSERT(high == kept_high);
    for (std::size_t i = 0; i < all.size(); ++i)
      if (all[i].keep) RC_ASSERT(std::binary_search(kept.begin(), kept.end(), i));
  }));
}

TEST(Thinning, gives_about_as_many_as_were_asked_for) {  // a month at a pixel each, not a megabyte
  std::vector<ThinPoint> all;
  for (int i = 0; i < 50'000; ++i) all.push_back({i * 60'000LL, std::sin(i), false});
  const auto kept = thin(all, 600);
  EXPECT_LE(kept.size(), 620U);
  EXPECT_GE(kept.size(), 300U);
}

history::TurnGist turn_on(int day, double time_s, std::optional<UsualFigure> usual, Outcome outcome = Outcome::reached) {
  history::TurnGist turn;
  turn.station = {"northyard", "ps-01"};
  turn.line = 2;
  turn.pump_start = time_from_ms(day * 86'400'000LL + 3'600'000);
  turn.pump_stop = later_by_s(turn.pump_start, time_s);
  turn.outcome = outcome;
  if (outcome == Outcome::reached) turn.time_to_pressure_s = time_s;
  turn.usual_time_to_pressure_s = usual;
  return turn;
}

// A line in trouble that looks like its neighbours in the list.
TEST(StripOfDays, tells_tenths_of_deviations_misses_and_days_without_a_turn) {
  Strips strips;
  strips.take(turn_on(100, 90, UsualFigure{88, 2}));
  strips.take(turn_on(100, 92, UsualFigure{88, 2}));
  strips.take(turn_on(102, 150, std::nullopt, Outcome::not_reached));
  strips.take(turn_on(103, 60, UsualFigure{88, 2}));
  const auto lines = strips.of({"northyard", "ps-01"}, time_from_ms(100 * 86'400'000LL));
  ASSERT_EQ(lines.size(), 2U);
  EXPECT_EQ(lines[0], StripSlots(strip_days));
  EXPECT_EQ(lines[1][0], 15);
  EXPECT_EQ(lines[1][1], std::nullopt);
  EXPECT_EQ(lines[1][2], strip_missed);
  EXPECT_EQ(lines[1][3], -strip_most);
  EXPECT_TRUE(strips.of({"northyard", "ps-99"}, time_from_ms(0)).empty());
}

TEST(StripOfDays, forgets_what_is_older_and_passes_over_it_when_it_comes_late) {  // last year's leak shown as this month's
  Strips strips;
  strips.take(turn_on(100, 150, std::nullopt, Outcome::not_reached));
  strips.take(turn_on(130, 88, UsualFigure{88, 2}));
  strips.take(turn_on(100, 150, std::nullopt, Outcome::not_reached));
  const auto lines = strips.of({"northyard", "ps-01"}, time_from_ms(101 * 86'400'000LL));
  for (std::size_t slot = 0; slot + 1 < strip_days; ++slot) EXPECT_EQ(lines[1][slot], std::nullopt);
  EXPECT_EQ(lines[1].back(), 0);
}

TEST(StripOfDays, before_a_baseline_is_learnt_the_line_s_own_median_takes_its_place) {  // or a new station would show nothing for weeks
  Strips strips;
  for (int day = 100; day < 110; ++day) strips.take(turn_on(day, day == 109 ? 100 : 80, std::nullopt));
  const auto lines = strips.of({"northyard", "ps-01"}, time_from_ms(100 * 86'400'000LL));
  EXPECT_EQ(lines[1][0], 0);
  EXPECT_EQ(lines[1][9], strip_most);
}

TEST(Picture, escapes_names_and_draws_gaps_as_gaps) {  // a line drawn over an outage shows what never was
  Chart chart;
  chart.title = "<script>";
  chart.y_words = "bar";
  chart.x_text = [](double) { return std::string("x"); };
  chart.series.push_back({"line 1", false, {{0, 1.0, {}, {}, false}, {1, 2.0, {}, {}, false}, {2, {}, {}, {}, false}, {3, 1.5, {}, {}, true}, {4, 1.0, {}, {}, false}}});
  const std::string svg = svg_of(chart);
  EXPECT_EQ(svg.find("<script>"), std::string::npos);
  const auto path = svg.find("fill=\"none\"");
  ASSERT_NE(path, std::string::npos);
  const std::string line = svg.substr(svg.rfind("<path", path), path - svg.rfind("<path", path));
  EXPECT_EQ(std::count(line.begin(), line.end(), 'M'), 2) << line;
  EXPECT_NE(svg.find("target pressure not reached"), std::string::npos);
}

TEST(Picture, marks_are_round_numbers_inside_the_axis) {  // marks at 83.37 are not read
  EXPECT_EQ(round_marks(0.3, 4.2, 5), (std::vector<double>{1, 2, 3, 4}));
  EXPECT_EQ(round_marks(-1, 1, 4), (std::vector<double>{-1, -0.5, 0, 0.5, 1}));
  EXPECT_TRUE(round_marks(3, 3, 5).empty());
}

}  // namespace
}  // namespace driftline::web
