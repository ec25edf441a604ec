#include "gateway/app/config_json.h"

#include <cmath>
#include <cstdint>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "gateway/app/config_limits.h"

namespace driftline {
namespace {

// Follows the parser to know where it is, and notes keys that stand twice and nesting that is too deep.
class Watcher {
 public:
  Watcher(const std::string& name, std::vector<ConfigProblem>& problems) : name_(name), problems_(problems) {}

  bool operator()(Json::parse_event_t event, const Json& parsed) {
    using Event = Json::parse_event_t;
    switch (event) {
      case Event::object_start:
        return open(false);
      case Event::array_start:
        return open(true);
      case Event::object_end:
      case Event::array_end:
        levels_.pop_back();
        return true;
      case Event::key:
        key(parsed.get<std::string>());
        return true;
      case Event::value:
        value(parsed);
        return true;
    }
    return true;
  }

 private:
  struct Level {
    bool list = false;
    int index = -1;
    std::string key{};
    std::set<std::string> keys{};
  };

  bool open(bool list) {
    next();
    levels_.push_back({.list = list});
    if (levels_.size() == config_depth_max + 1 && !too_deep_) {
      too_deep_ = true;
      problems_.push_back({name_, where(),
                           "it is nested deeper than " + std::to_string(config_depth_max) + " levels",
                           "fewer levels: none of our files needs more than 8"});
    }
    return true;
  }
  void next() {
    if (!levels_.empty() && levels_.back().list) ++levels_.back().index;
  }
  void value(const Json& parsed) {
    next();
    if (!parsed.is_string() || parsed.get_ref<const std::string&>().size() <= config_text_bytes_max) return;
    problems_.push_back({name_, where(),
                         "the text is longer than " + std::to_string(config_text_bytes_max) + " bytes",
                         "a shorter text"});
  }
  void key(const std::string& key) {
    levels_.back().key = key;
    if (!levels_.back().keys.insert(key).second)
      problems_.push_back({name_, where(), "the key stands twice in one object", "one of the two"});
  }
  std::string where() const {
    std::string text;
    for (const Level& level : levels_) {
      if (level.list && level.index < 0) break;
      if (!level.list && level.keys.empty()) break;
      text += pointer_step(level.list ? std::to_string(level.index) : level.key);
    }
    return text;
  }

  const std::string& name_;
  std::vector<ConfigProblem>& problems_;
  std::vector<Level> levels_;
  bool too_deep_ = false;
};

// 2.0 is a whole number (JSON Schema draft 7, 4.2.1), and some programs write every number so. The depth is
// bounded by now.
void write_whole_numbers(Json& json) {
  constexpr double exact_max = 9'007'199'254'740'992;  // 2^53: every whole number up to here is a double
  if (json.is_structured())
    for (Json& item : json) write_whole_numbers(item);
  if (!json.is_number_float()) return;
  const double value = json.get<double>();
  if (std::abs(value) <= exact_max && std::trunc(value) == value) json = static_cast<std::int64_t>(value);
}

// "[json.exception.parse_error.101] parse error at line 3, column 5: syntax error ..." from "line" on.
std::string in_our_words(std::string text) {
  const auto line = text.find("at line ");
  text = line == std::string::npos ? text.substr(text.find("] ") + 2) : text.substr(line + 3);
  const auto parsing = text.find("syntax error while parsing ");
  if (parsing != std::string::npos)
    text.erase(parsing, std::string_view("syntax error while parsing ").size());
  return text.size() > 200 ? text.substr(0, 200) + "..." : text;
}

}  // namespace

std::string pointer_step(std::string_view key) {
  std::string text = "/";
  for (const char c : key) {
    if (c == '~')
      text += "~0";
    else if (c == '/')
      text += "~1";
    else
      text += c;
  }
  return text;
}

std::string shown(const Json& value) {
  if (value.is_object()) return "an object";
  if (value.is_array()) return "a list";
  const std::string text = value.dump(-1, ' ', true, Json::error_handler_t::replace);
  return text.size() > 60 ? text.substr(0, 60) + "..." : text;
}

std::optional<Json> read_json_text(std::string_view text, const std::string& name,
                                   std::vector<ConfigProblem>& problems) {
  if (text.size() > config_file_bytes_max) {
    problems.push_back({name, "", "it is larger than " + std::to_string(config_file_bytes_max >> 20) + " MB",
                        "several smaller files in plant/"});
    return std::nullopt;
  }
  const std::size_t before = problems.size();
  Watcher watcher(name, problems);
  try {
    Json json = Json::parse(
        text, [&](int, Json::parse_event_t event, Json& parsed) { return watcher(event, parsed); }, true,
        true);
    if (problems.size() > before) return std::nullopt;
    write_whole_numbers(json);
    return json;
  } catch (const Json::exception& wrong) {
    problems.push_back({name, "", "it is not JSON: " + in_our_words(wrong.what()),
                        "JSON; comments are allowed, a comma after the last item is not"});
    return std::nullopt;
  }
}

std::optional<Json> read_json_file(const std::string& path, const std::string& name,
                                   std::vector<ConfigProblem>& problems) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  if (file && file.peek() != std::ifstream::traits_type::eof()) text << file.rdbuf();
  if (!file.is_open() || file.bad()) {
    problems.push_back({name, "", "it cannot be read", "a file that the user of the gateway may read"});
    return std::nullopt;
  }
  return read_json_text(text.str(), name, problems);
}

}  // namespace driftline
