#include "gateway/app/config_edit.h"

#include <nlohmann/json.hpp>
#include <optional>
#include <vector>

namespace driftline {
namespace {

struct Stretch {
  std::size_t begin = 0;
  std::size_t end = 0;
};
struct Member {
  std::string key;
  Stretch whole;  // from the key's quote to the value's end
  Stretch value;
};

// Walks text that is known to be JSON with comments; positions only.
class Walker {
 public:
  explicit Walker(std::string_view text) : text_(text) {}

  // Past blanks and comments.
  [[nodiscard]] std::size_t past_blank(std::size_t at) const {
    for (;;) {
      while (at < text_.size() && (text_[at] == ' ' || text_[at] == '\t' || text_[at] == '\n' || text_[at] == '\r')) ++at;
      if (text_.substr(at, 2) == "//")
        at = std::min(text_.find('\n', at), text_.size());
      else if (text_.substr(at, 2) == "/*")
        at = std::min(text_.find("*/", at + 2), text_.size() - 2) + 2;
      else
        return at;
    }
  }
  [[nodiscard]] std::size_t past_string(std::size_t at) const {
    for (++at; at < text_.size() && text_[at] != '"'; ++at)
      if (text_[at] == '\\') ++at;
    return at + 1;
  }
  [[nodiscard]] std::size_t past_value(std::size_t at) const {
    if (text_[at] == '"') return past_string(at);
    if (text_[at] != '{' && text_[at] != '[') {
      while (at < text_.size() && std::string_view(",]} \t\r\n/").find(text_[at]) == std::string_view::npos) ++at;
      return at;
    }
    int depth = 0;
    for (; at < text_.size(); at = past_blank(at)) {
      const char c = text_[at];
      if (c == '"') {
        at = past_string(at);
        continue;
      }
      ++at;
      if (c == '{' || c == '[') ++depth;
      if ((c == '}' || c == ']') && --depth == 0) break;
    }
    return at;
  }
  [[nodiscard]] std::vector<Member> members(std::size_t object) const {
    std::vector<Member> all;
    for (std::size_t at = past_blank(object + 1); text_[at] != '}'; at = past_blank(at)) {
      if (text_[at] == ',') {
        ++at;
        continue;
      }
      const std::size_t key_end = past_string(at);
      const std::size_t value = past_blank(past_blank(key_end) + 1);
      const std::size_t end = past_value(value);
      all.push_back({Json::parse(text_.substr(at, key_end - at)).get<std::string>(), {at, end}, {value, end}});
      at = end;
    }
    return all;
  }
  [[nodiscard]] std::optional<std::size_t> item(std::size_t list, std::size_t wanted) const {
    std::size_t index = 0;
    for (std::size_t at = past_blank(list + 1); text_[at] != ']'; at = past_blank(at)) {
      if (text_[at] == ',') {
        ++at;
        continue;
      }
      if (index++ == wanted) return at;
      at = past_value(at);
    }
    return std::nullopt;
  }

 private:
  std::string_view text_;
};

std::string unescaped(std::string_view step) {
  std::string out;
  for (std::size_t i = 0; i < step.size(); ++i) {
    if (step[i] == '~' && i + 1 < step.size()) {
      out += step[++i] == '1' ? '/' : '~';
    } else {
      out += step[i];
    }
  }
  return out;
}

std::vector<std::string> steps_of(std::string_view pointer) {
  std::vector<std::string> steps;
  while (!pointer.empty()) {
    pointer.remove_prefix(1);
    const std::size_t end = std::min(pointer.find('/'), pointer.size());
    steps.push_back(unescaped(pointer.substr(0, end)));
    pointer.remove_prefix(end);
  }
  return steps;
}

class Edit {
 public:
  explicit Edit(std::string_view text) : text_(text) {}

  // Lays the patch over the object that begins at `object`.
  void lay(const std::vector<std::string>& path, const Json& patch) {
    for (const auto& [key, value] : patch.items()) {
      std::vector<std::string> inner = path;
      inner.push_back(key);
      const std::size_t object = *find(path);
      const auto member = member_of(object, key);
      if (value.is_null()) {
        if (member) remove(object, *member);
      } else if (value.is_object() && member && text_[member->value.begin] == '{') {
        lay(inner, value);
      } else if (member) {
        text_.replace(member->value.begin, member->value.end - member->value.begin, written(without_nulls(value)));
      } else if (const Json clean = without_nulls(value); !(clean.is_object() && clean.empty())) {
        insert(object, key, clean);
      }
    }
  }

  [[nodiscard]] std::optional<std::size_t> find(const std::vector<std::string>& path) const {
    const Walker walker(text_);
    std::size_t at = walker.past_blank(0);
    for (const std::string& step : path) {
      if (text_[at] == '{') {
        const auto member = member_of(at, step);
        if (!member) return std::nullopt;
        at = member->value.begin;
      } else if (text_[at] == '[') {
        const auto item = walker.item(at, std::stoul(step));
        if (!item) return std::nullopt;
        at = *item;
      } else {
        return std::nullopt;
      }
    }
    return at;
  }
  [[nodiscard]] bool is_object(std::size_t at) const { return text_[at] == '{'; }
  void insert(std::size_t object, const std::string& key, const Json& value) {
    const Walker walker(text_);
    const std::string member = Json(key).dump() + ": " + written(value);
    const auto members = walker.members(object);
    if (members.empty()) {
      const std::size_t first = text_.find_first_not_of(" \t\r\n", object + 1);
      if (text_[first] == '}') text_.erase(object + 1, first - object - 1);  // else a comment stands there
      text_.insert(object + 1, is_whole_file(object) ? "\n  " + member + "\n" : " " + member + " ");
      return;
    }
    const Member& last = members.back();
    const std::size_t line_end = end_of_rest(last.whole.end);
    if (line_end == std::string::npos || !begins_line(last.whole.begin)) {
      text_.insert(last.whole.end, ", " + member);
      return;
    }
    text_.insert(line_end, "\n" + indent_of(last.whole.begin) + member);
    text_.insert(last.whole.end, ",");
  }
  [[nodiscard]] std::string take() { return std::move(text_); }

 private:
  static Json without_nulls(const Json& value) {
    if (!value.is_object()) return value;
    Json out = Json::object();
    out.merge_patch(value);
    return out;
  }
  [[nodiscard]] std::optional<Member> member_of(std::size_t object, const std::string& key) const {
    for (Member& member : Walker(text_).members(object))
      if (member.key == key) return std::move(member);
    return std::nullopt;
  }
  [[nodiscard]] std::size_t line_begin(std::size_t at) const {
    const std::size_t newline = at == 0 ? std::string::npos : text_.rfind('\n', at - 1);
    return newline == std::string::npos ? 0 : newline + 1;
  }
  [[nodiscard]] bool begins_line(std::size_t at) const {
    return text_.find_first_not_of(" \t", line_begin(at)) == at;
  }
  [[nodiscard]] std::string indent_of(std::size_t at) const {
    const std::size_t begin = line_begin(at);
    return text_.substr(begin, text_.find_first_not_of(" \t", begin) - begin);
  }
  [[nodiscard]] bool is_whole_file(std::size_t object) const { return object == Walker(text_).past_blank(0); }
  // Where the line ends, if nothing but blanks and a comment stands between; else npos.
  [[nodiscard]] std::size_t end_of_rest(std::size_t at) const {
    const std::size_t end = std::min(text_.find('\n', at), text_.size());
    const std::size_t rest = text_.find_first_not_of(" \t\r", at);
    if (rest == std::string::npos || rest >= end) return end;
    if (text_.compare(rest, 2, "//") == 0) return end;
    const std::size_t closes = text_.compare(rest, 2, "/*") == 0 ? text_.find("*/", rest) : std::string::npos;
    return closes < end && text_.find_first_not_of(" \t\r", closes + 2) >= end ? end : std::string::npos;
  }
  // With its comma; with its line where it stands alone on it, a comment behind it included.
  void remove(std::size_t object, const Member& member) {
    const Walker walker(text_);
    const auto members = walker.members(object);
    const bool is_last = members.back().whole.begin == member.whole.begin;
    std::size_t begin = member.whole.begin;
    std::size_t end = member.whole.end;
    if (!is_last) end = walker.past_blank(end) + 1;  // the comma
    const bool alone = begins_line(begin) && end_of_rest(end) != std::string::npos;
    if (alone) {
      begin = line_begin(begin);
      end = std::min(end_of_rest(end) + 1, text_.size());
    } else if (!is_last) {
      end = text_.find_first_not_of(' ', end);
    } else if (members.size() > 1 && begin > 0 && text_.find_last_not_of(' ', begin - 1) != std::string::npos &&
               text_[text_.find_last_not_of(' ', begin - 1)] == ',') {
      begin = text_.find_last_not_of(' ', begin - 1) + 1;
    }
    text_.erase(begin, end - begin);
    if (!is_last || members.size() < 2) return;
    const Member& before = members[members.size() - 2];
    const std::size_t comma = walker.past_blank(before.whole.end);
    if (comma < begin && text_[comma] == ',') text_.erase(comma, 1);
  }

  std::string text_;
};

}  // namespace

std::string written(const Json& value) {
  if (value.is_object()) {
    if (value.empty()) return "{}";
    std::string out = "{ ";
    for (const auto& [key, inner] : value.items()) out += (out.size() > 2 ? ", " : "") + Json(key).dump() + ": " + written(inner);
    return out + " }";
  }
  if (value.is_array()) {
    std::string out = "[";
    for (const Json& inner : value) out += (out.size() > 1 ? ", " : "") + written(inner);
    return out + "]";
  }
  return value.dump();
}

tl::expected<std::string, std::string> edited(std::string_view text, std::string_view pointer, const Json& patch) {
  Edit edit(text);
  std::vector<std::string> path = steps_of(pointer);
  if (!edit.find(path)) {
    const std::string last = path.empty() ? std::string() : path.back();
    if (path.empty()) return tl::unexpected(std::string("the file holds no object"));
    std::vector<std::string> parent(path.begin(), path.end() - 1);
    const auto object = edit.find(parent);
    if (!object || !edit.is_object(*object)) return tl::unexpected("there is no place " + std::string(pointer));
    edit.insert(*object, last, Json::object());
  }
  const auto object = edit.find(path);
  if (!object || !edit.is_object(*object)) return tl::unexpected("what stands at " + std::string(pointer) + " is no object");
  edit.lay(path, patch);
  return edit.take();
}

}  // namespace driftline
