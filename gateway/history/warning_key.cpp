#include "gateway/history/warning_key.h"

#include <algorithm>
#include <array>

#include "rules/records/names.h"

namespace driftline::history {
namespace {

constexpr std::size_t name_characters_max = 64;  // identity.h
constexpr std::string_view line_word = "line-";

bool is_name(std::string_view text) {
  return !text.empty() && text.size() <= name_characters_max && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '.' || c == '_' || c == '-';
  });
}

}  // namespace

std::string key_text(const WarningRef& warning) {
  return warning.station.site + "/" + warning.station.station + "/" +
         (warning.line ? std::string(line_word) + std::to_string(*warning.line) : "station") + "/" + std::string(name_of(warning.condition));
}

std::optional<WarningRef> warning_of_key(std::string_view key) {
  std::array<std::string_view, 4> levels;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const std::size_t end = key.find('/');
    if ((end == std::string_view::npos) != (i + 1 == levels.size())) return std::nullopt;
    levels.at(i) = key.substr(0, end);
    key.remove_prefix(std::min(levels.at(i).size() + 1, key.size()));
  }
  const auto condition = condition_named(std::string(levels[3]));
  if (!is_name(levels[0]) || !is_name(levels[1]) || !condition) return std::nullopt;
  WarningRef warning{{std::string(levels[0]), std::string(levels[1])}, std::nullopt, *condition};
  std::string_view place = levels[2];
  if (place == "station") return warning;
  if (!place.starts_with(line_word)) return std::nullopt;
  place.remove_prefix(line_word.size());
  if (place.size() != 1 || place.front() < '1' || place.front() > '0' + lines_max) return std::nullopt;
  warning.line = place.front() - '0';
  return warning;
}

}  // namespace driftline::history
