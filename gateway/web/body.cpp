#include "gateway/web/body.h"

#include <algorithm>
#include <cmath>
#include <set>

#include <nlohmann/json.hpp>

#include "gateway/web/target.h"

namespace driftline::web {
namespace {

using Json = nlohmann::json;

std::size_t characters(const std::string& utf8) {
  return static_cast<std::size_t>(std::count_if(utf8.begin(), utf8.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0U) != 0x80U; }));
}

std::string joined(const std::vector<std::string_view>& names) {
  std::string text;
  for (const std::string_view name : names) text.append(text.empty() ? "" : ", ").append(name);
  return text;
}

}  // namespace

Or<Fields> read_body(const std::string& body, const std::vector<std::string_view>& names) {
  std::set<std::string> seen;
  std::string twice;
  const auto look = [&](int depth, Json::parse_event_t event, Json& parsed) {
    if (event == Json::parse_event_t::key && depth == 1 && !seen.insert(parsed.get<std::string>()).second) twice = parsed.get<std::string>();
    return true;
  };
  const Json json = Json::parse(body, look, false);
  if (!json.is_object()) return problem(400, "it is no JSON object", "body", "an object with " + joined(names));
  if (!twice.empty()) return problem(400, "it stands twice", "body /" + twice, "once");
  std::map<std::string, Field> all;
  for (const auto& [name, value] : json.items()) {
    if (std::find(names.begin(), names.end(), name) == names.end()) return problem(400, "the name is not known here", "body /" + name, "of " + joined(names));
    Field field;
    if (value.is_string()) field.text = value.get<std::string>();
    else if (value.is_number_unsigned() && value.get<std::uint64_t>() <= INT64_MAX) field.number = value.get<std::int64_t>();
    else if (value.is_number_integer() && !value.is_number_unsigned()) field.number = value.get<std::int64_t>();
    else if (!value.is_null()) return problem(400, "it is neither text nor a whole number", "body /" + name, "as in GET /api/v1/openapi.json");
    all.emplace(name, std::move(field));
  }
  return Fields(std::move(all));
}

Or<std::optional<std::string>> Fields::text(const std::string& name, std::size_t characters_min, std::size_t characters_max) const {
  const auto found = all_.find(name);
  if (found == all_.end() || (!found->second.text && !found->second.number)) return std::optional<std::string>{};
  const std::string right = "text of " + std::to_string(characters_min) + " to " + std::to_string(characters_max) + " characters";
  if (!found->second.text || !is_utf8_text(*found->second.text)) return problem(400, "it is no text", "body /" + name, right);
  const std::size_t length = characters(*found->second.text);
  if (length < characters_min || length > characters_max) return problem(400, "it has " + std::to_string(length) + " characters", "body /" + name, right);
  return found->second.text;
}

Or<std::optional<std::int64_t>> Fields::number(const std::string& name, std::int64_t least, std::int64_t most) const {
  const auto found = all_.find(name);
  if (found == all_.end() || (!found->second.text && !found->second.number)) return std::optional<std::int64_t>{};
  if (!found->second.number || *found->second.number < least || *found->second.number > most)
    return problem(400, "it cannot be used", "body /" + name, "a whole number from " + std::to_string(least) + " to " + std::to_string(most));
  return found->second.number;
}

}  // namespace driftline::web
