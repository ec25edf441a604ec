// The house checks itself: its sources are read as text and held against its rules. Each rule is a function of a tree (path to
// text), so that it can be shown on a small tree that it fails where it must. There is no list of exemptions.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace driftline {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

using Tree = std::map<std::string, std::string>;  // path from the top to text
using Complaints = std::vector<std::string>;

bool is_source(const std::string& path) { return path.ends_with(".h") || path.ends_with(".cpp"); }

Tree whole_tree() {
  const fs::path top(DRIFTLINE_SOURCE_DIR);
  Tree tree;
  for (const char* folder : {"rules", "gateway", "tests"}) {
    for (auto at = fs::recursive_directory_iterator(top / folder); at != fs::recursive_directory_iterator(); ++at) {
      if (at->path().filename() == "node_modules" || at->path().filename() == "dist") at.disable_recursion_pending();
      const std::string path = fs::relative(at->path(), top).generic_string();
      if (!at->is_regular_file() || !is_source(path)) continue;
      std::ostringstream text;
      text << std::ifstream(at->path(), std::ios::binary).rdbuf();
      tree[path] = std::move(text).str();
    }
  }
  return tree;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::istringstream in(text);
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

// What the compiler sees of a line, near enough: no comment, no text in quotes.
std::string code_of(const std::string& line) {
  std::string code;
  bool quoted = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (line[i] == '"' && (i == 0 || (line[i - 1] != '\\' && line[i - 1] != '\''))) quoted = !quoted;
    if (!quoted && line.compare(i, 2, "//") == 0) break;
    if (!quoted) code += line[i];
  }
  return code;
}

std::vector<std::string> includes_of(const std::string& text, char open, char close) {
  std::vector<std::string> found;
  const std::string start = std::string("#include ") + open;
  for (const std::string& line : lines_of(text))
    if (line.starts_with(start))
      if (const auto end = line.find(close, start.size()); end != std::string::npos) found.push_back(line.substr(start.size(), end - start.size()));
  return found;
}

// "gateway/app/trial/x.h" is of the room gateway/app; everything under rules/ is one.
std::string room_of(const std::string& path) {
  if (path.starts_with("rules/")) return "rules";
  const auto second = path.find('/', path.find('/') + 1);
  return second == std::string::npos ? path : path.substr(0, second);
}

// What a room may include, by the library that it needs to be without.
const std::map<std::string, std::set<std::string>>& may_include() {
  static const std::map<std::string, std::set<std::string>> rooms{
      {"rules", {}},  // pure: the gateway and a replay judge by the same code
      {"gateway/telemetry", {"rules"}},
      {"gateway/cycles", {"rules", "gateway/telemetry"}},
      {"gateway/events", {}},
      {"gateway/journal", {"rules", "gateway/telemetry", "gateway/events"}},
      {"gateway/history", {"rules", "gateway/telemetry", "gateway/events"}},
      {"gateway/metrics", {"rules", "gateway/telemetry", "gateway/events", "gateway/history"}},
      {"gateway/broker", {"rules", "gateway/telemetry", "gateway/events", "gateway/history", "gateway/journal"}},
      {"gateway/messages", {"rules", "gateway/telemetry", "gateway/events", "gateway/history"}},
      {"gateway/web", {"rules", "gateway/telemetry", "gateway/events", "gateway/history", "gateway/messages", "gateway/metrics"}},  // its gzip
      {"gateway/simulate", {"rules", "gateway/telemetry"}},  // an instrument: it must not know how it is judged
  };
  return rooms;  // gateway/app and the tests may include all
}

// How an include got here: "a.h -> b.h -> c.h".
std::string way_to(const Tree& tree, const std::string& from, const std::function<bool(const std::string&)>& goal,
                   std::set<std::string>& seen) {
  if (!seen.insert(from).second) return {};
  const auto file = tree.find(from);
  if (file == tree.end()) return {};
  for (const std::string& next : includes_of(file->second, '"', '"')) {
    if (goal(next)) return from + " -> " + next;
    if (const std::string rest = way_to(tree, next, goal, seen); !rest.empty()) return from + " -> " + rest;
  }
  return {};
}

// Includes run downwards only, through however many headers.
Complaints upward_includes(const Tree& tree) {
  Complaints all;
  for (const auto& [path, text] : tree) {
    const auto room = may_include().find(room_of(path));
    if (room == may_include().end()) continue;
    const auto forbidden = [&](const std::string& include) {
      const std::string to = room_of(include);
      return (include.starts_with("gateway/") || include.starts_with("rules/") || include.starts_with("tests/")) && to != room->first &&
             !room->second.contains(to);
    };
    std::set<std::string> seen;
    if (const std::string way = way_to(tree, path, forbidden, seen); !way.empty()) all.push_back(way);
  }
  return all;
}

// `hint`: a word that stands in every match; most lines need no more than that.
Complaints matching(const Tree& tree, const std::function<bool(const std::string&)>& where, const std::string& hint, const std::regex& what) {
  Complaints all;
  for (const auto& [path, text] : tree) {
    if (!where(path)) continue;
    int number = 0;
    for (const std::string& line : lines_of(text)) {
      ++number;
      if (line.find(hint) != std::string::npos && std::regex_search(code_of(line), what)) all.push_back(path + ":" + std::to_string(number) + ": " + line);
    }
  }
  return all;
}

// One file reads the clock: what else reads it makes a run that cannot be repeated. Tests wait for real servers.
Complaints clock_reads(const Tree& tree) {
  static const std::regex clocks(R"((system|steady|high_resolution)_clock::now|\bclock_gettime\b)");
  static const std::regex times(R"(\bgettimeofday\b|[^\w.:>]time\((nullptr|0|NULL)\))");
  const auto where = [](const std::string& path) { return !path.starts_with("tests/") && path != "gateway/app/clock.cpp"; };
  Complaints all = matching(tree, where, "clock", clocks);
  for (std::string& one : matching(tree, where, "time", times)) all.push_back(std::move(one));
  return all;
}

// Libraries that cost seconds of compiling, or that nobody else should know, stay out of headers.
Complaints heavy_headers(const Tree& tree) {
  static const std::vector<std::string> heavy{"nlohmann/json.hpp", "spdlog/", "httplib", "mqtt/", "MQTT", "curl/", "sqlite3",
                                              "cereal/", "simdjson", "valijson/"};
  Complaints all;
  for (const auto& [path, text] : tree) {
    if (!path.ends_with(".h") || path.starts_with("tests/")) continue;
    for (const std::string& include : includes_of(text, '<', '>'))
      for (const std::string& name : heavy)
        if (include.starts_with(name)) all.push_back(path + " includes " + include);
  }
  return all;
}

// Walked, an unordered container gives rows in an order that no replay repeats.
Complaints unordered_containers(const Tree& tree) {
  static const std::regex walked(R"(unordered_(multi)?(map|set))");
  return matching(
      tree,
      [](const std::string& path) {
        return path.starts_with("rules/") || path.starts_with("gateway/cycles/") || path.starts_with("gateway/history/") ||
               path.starts_with("gateway/metrics/");
      },
      "unordered", walked);
}

bool has_word(const std::string& line, const std::string& word) {
  const auto letter = [&](std::size_t at) { return at < line.size() && std::isalpha(static_cast<unsigned char>(line[at])) != 0; };
  for (auto at = line.find(word); at != std::string::npos; at = line.find(word, at + 1))
    if ((at == 0 || !letter(at - 1)) && !letter(at + word.size())) return true;
  return false;
}

// What is left to do is an issue, not a comment. The words stand here in halves, so that this file passes.
Complaints leftover_markers(const Tree& tree) {
  static const std::vector<std::string> markers{std::string("TO") + "DO", std::string("FIX") + "ME", std::string("XX") + "X"};
  Complaints all;
  for (const auto& [path, text] : tree) {
    int number = 0;
    for (const std::string& line : lines_of(text)) {
      ++number;
      if (std::any_of(markers.begin(), markers.end(), [&](const std::string& m) { return has_word(line, m); }))
        all.push_back(path + ":" + std::to_string(number) + ": " + line);
    }
  }
  return all;
}

// A header that nobody includes is dead, or its room has forgotten it.
Complaints unused_headers(const Tree& tree) {
  std::set<std::string> included;
  for (const auto& [path, text] : tree)
    for (const std::string& include : includes_of(text, '"', '"'))
      if (include != path) included.insert(include);
  Complaints all;
  for (const auto& [path, text] : tree)
    if (path.ends_with(".h") && !included.contains(path)) all.push_back(path);
  return all;
}

std::set<std::string> words_between(const std::string& text, const std::regex& what) {
  std::set<std::string> words;
  for (auto at = std::sregex_iterator(text.begin(), text.end(), what); at != std::sregex_iterator(); ++at) words.insert((*at)[1]);
  return words;
}

// A fault that no test reaches may say nonsense, or never be said.
Complaints fault_codes_without_a_test(const Tree& tree) {
  const auto header = tree.find("gateway/telemetry/fault.h");
  if (header == tree.end()) return {"there is no gateway/telemetry/fault.h"};
  const std::string& text = header->second;
  const auto from = text.find("enum class FaultCode");
  const auto to = text.find("};", from);
  const std::set<std::string> codes =
      words_between(text.substr(from, to - from), std::regex(R"((?:^|\n)\s*([a-z_]+),)"));
  Complaints all;
  for (const std::string& code : codes) {
    std::string dashed = code;
    std::replace(dashed.begin(), dashed.end(), '_', '-');
    const bool reached = std::any_of(tree.begin(), tree.end(), [&](const auto& file) {
      return file.first.starts_with("tests/") && (file.second.find("FaultCode::" + code) != std::string::npos ||
                                                  file.second.find('"' + dashed + '"') != std::string::npos);
    });
    if (!reached) all.push_back(code);
  }
  return all;
}

// Only the rooms' lists of events call the logger, so that what can be said is read on a page.
Complaints logging_elsewhere(const Tree& tree) {
  static const std::regex said(R"(spdlog::(log|trace|debug|info|warn|error|critical)\b|\bevents::say(_change)?\()");
  return matching(
      tree,
      [](const std::string& path) {
        return path.starts_with("gateway/") && !path.ends_with("events.cpp") && !path.starts_with("gateway/events/");
      },
      "::", said);
}

// What a room's list of events offers and nobody says is a line of the manual that never comes.
Complaints events_nobody_says(const Tree& tree) {
  static const std::regex function(R"((?:^|\n)void ([a-z_]+)\()");
  Complaints all;
  for (const auto& [path, text] : tree) {
    if (!path.starts_with("gateway/") || !path.ends_with("events.h") || path.starts_with("gateway/events/")) continue;
    for (const std::string& name : words_between(text, function)) {
      const bool said = std::any_of(tree.begin(), tree.end(), [&](const auto& file) {
        return file.first.ends_with(".cpp") && !file.first.ends_with("events.cpp") && file.first.starts_with("gateway/") &&
               file.second.find("events::" + name + "(") != std::string::npos;
      });
      if (!said) all.push_back(path + ": " + name);
    }
  }
  return all;
}

// If this fails a room cannot be built, tested or replaced without the one above it.
TEST(House, includes_run_downwards_only) { EXPECT_THAT(upward_includes(whole_tree()), IsEmpty()); }

TEST(House, only_one_file_reads_the_clock) { EXPECT_THAT(clock_reads(whole_tree()), IsEmpty()); }

TEST(House, heavy_headers_stay_in_sources) { EXPECT_THAT(heavy_headers(whole_tree()), IsEmpty()); }

TEST(House, no_unordered_container_lies_on_the_way_to_output) { EXPECT_THAT(unordered_containers(whole_tree()), IsEmpty()); }

TEST(House, nothing_is_left_marked_for_later) { EXPECT_THAT(leftover_markers(whole_tree()), IsEmpty()); }

TEST(House, every_header_is_included_by_somebody) { EXPECT_THAT(unused_headers(whole_tree()), IsEmpty()); }

TEST(House, every_fault_code_is_reached_by_a_test) { EXPECT_THAT(fault_codes_without_a_test(whole_tree()), IsEmpty()); }

TEST(House, only_the_lists_of_events_log) { EXPECT_THAT(logging_elsewhere(whole_tree()), IsEmpty()); }

TEST(House, every_event_that_a_room_lists_is_said) { EXPECT_THAT(events_nobody_says(whole_tree()), IsEmpty()); }

// If this fails the checks above can pass over what they are there for.
TEST(House, the_checks_can_fail) {
  const Tree upward{{"rules/a/a.h", "#include \"rules/b/b.h\"\n"}, {"rules/b/b.h", "#include \"gateway/app/plant.h\"\n"}};
  EXPECT_THAT(upward_includes(upward), ElementsAre("rules/a/a.h -> rules/b/b.h -> gateway/app/plant.h", "rules/b/b.h -> gateway/app/plant.h"));
  EXPECT_THAT(upward_includes({{"gateway/cycles/a.cpp", "#include \"gateway/history/rows.h\"\n"}}), SizeIs(1));
  EXPECT_THAT(upward_includes({{"gateway/cycles/a.cpp", "#include \"gateway/telemetry/sample.h\"\n"}}), IsEmpty());

  const std::string reads = "auto t = std::chrono::steady_clock::now();\n";
  EXPECT_THAT(clock_reads({{"gateway/broker/a.cpp", reads}}), ElementsAre(HasSubstr("gateway/broker/a.cpp:1")));
  EXPECT_THAT(clock_reads({{"gateway/broker/a.cpp", "const time_t t = time(nullptr);\n"}}), SizeIs(1));
  EXPECT_THAT(clock_reads({{"gateway/app/clock.cpp", reads}, {"gateway/b.cpp", "// steady_clock::now\n"}}), IsEmpty());

  EXPECT_THAT(heavy_headers({{"gateway/a/a.h", "#include <nlohmann/json.hpp>\n"}}), SizeIs(1));
  EXPECT_THAT(heavy_headers({{"gateway/a/a.cpp", "#include <nlohmann/json.hpp>\n"}}), IsEmpty());
  EXPECT_THAT(unordered_containers({{"rules/a.h", "std::unordered_map<int, int> all;\n"}}), SizeIs(1));
  EXPECT_THAT(leftover_markers({{"rules/a.h", std::string("// TO") + "DO: later\n"}}), SizeIs(1));
  EXPECT_THAT(unused_headers({{"rules/a.h", ""}, {"rules/b.h", ""}, {"rules/b.cpp", "#include \"rules/b.h\"\n"}}), ElementsAre("rules/a.h"));
  EXPECT_THAT(logging_elsewhere({{"gateway/a/a.cpp", "spdlog::info(\"x\");\n"}}), SizeIs(1));

  EXPECT_THAT(events_nobody_says({{"gateway/a/events.h", "void gone(int x);\nvoid said();\n"}, {"gateway/a/a.cpp", "events::said();\n"}}),
              ElementsAre("gateway/a/events.h: gone"));

  const std::string codes = "enum class FaultCode : std::uint8_t {\n  bad_topic,  // x\n  too_late,\n};\n";
  EXPECT_THAT(fault_codes_without_a_test({{"gateway/telemetry/fault.h", codes}, {"tests/a.cpp", "FaultCode::too_late"}}), ElementsAre("bad_topic"));
}

}  // namespace
}  // namespace driftline
