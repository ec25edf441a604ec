#include "gateway/web/target.h"

#include <algorithm>
#include <charconv>

#include "gateway/web/limits.h"

namespace driftline::web {
namespace {

int hex(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

std::optional<std::string> decoded(std::string_view text, bool plus_is_space) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%') {
      if (i + 2 >= text.size() || hex(text[i + 1]) < 0 || hex(text[i + 2]) < 0) return std::nullopt;
      out += static_cast<char>(hex(text[i + 1]) * 16 + hex(text[i + 2]));
      i += 2;
    } else {
      out += plus_is_space && text[i] == '+' ? ' ' : text[i];
    }
  }
  if (!is_utf8_text(out)) return std::nullopt;
  return out;
}

Or<void> read_path(std::string_view text, std::vector<std::string>& path) {
  while (!text.empty()) {
    text.remove_prefix(1);  // its slash
    const std::string_view level = text.substr(0, text.find('/'));
    text.remove_prefix(level.size());
    if (level.empty() && text.empty()) return {};
    const auto name = decoded(level, false);
    if (!name || name->empty() || *name == "." || *name == ".." || name->find('/') != std::string::npos)
      return problem(400, "the path cannot be read", "path", "levels of letters, digits, . _ - between slashes");
    path.push_back(*name);
  }
  return {};
}

Or<void> read_query(std::string_view text, Query& query) {
  while (!text.empty()) {
    const std::string_view part = text.substr(0, text.find('&'));
    text.remove_prefix(std::min(text.size(), part.size() + 1));
    if (part.empty()) continue;
    const auto equals = part.find('=');
    const auto name = decoded(part.substr(0, equals), true);
    const auto value = decoded(equals == std::string_view::npos ? std::string_view{} : part.substr(equals + 1), true);
    if (!name || !value || name->empty()) return problem(400, "the query cannot be read", "query", "name=value&name=value, UTF-8, %xx where needed");
    if (!query.emplace(*name, *value).second) return problem(400, "it stands twice", "query " + *name, "once");
    if (query.size() > static_cast<std::size_t>(parameters_max))
      return problem(400, "too many parameters", "query", "at most " + std::to_string(parameters_max));
  }
  return {};
}

std::optional<std::int64_t> number_in(const std::string& text) {
  std::int64_t value = 0;
  const auto [end, failed] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failed != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

bool is_utf8_text(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (byte < 0x80) {
      if ((byte < 0x20 && byte != '\t' && byte != '\n') || byte == 0x7f) return false;
      ++i;
      continue;
    }
    const int more = byte >= 0xf0 ? 3 : byte >= 0xe0 ? 2 : 1;
    if (byte < 0xc2 || byte > 0xf4 || i + static_cast<std::size_t>(more) >= text.size()) return false;
    std::uint32_t point = byte & (0x3fU >> more);
    for (int k = 1; k <= more; ++k) {
      const auto next = static_cast<unsigned char>(text[i + static_cast<std::size_t>(k)]);
      if ((next & 0xc0U) != 0x80U) return false;
      point = (point << 6U) | (next & 0x3fU);
    }
    constexpr std::uint32_t least[] = {0, 0x80, 0x800, 0x10000};
    if (point < least[more] || point > 0x10ffff || (point >= 0xd800 && point <= 0xdfff) || (point >= 0x80 && point < 0xa0)) return false;
    i += static_cast<std::size_t>(more) + 1;
  }
  return true;
}

Or<Target> parse_target(std::string_view text) {
  if (text.size() > target_bytes_max) return problem(414, "the target is too long", "target", "at most " + std::to_string(target_bytes_max) + " bytes");
  text = text.substr(0, text.find('#'));
  if (text.empty() || text.front() != '/') return problem(400, "the target is no path", "target", "a path that begins with /");
  Target target;
  const auto mark = text.find('?');
  if (const auto path = read_path(text.substr(0, mark), target.path); !path) return tl::unexpected(path.error());
  if (mark != std::string_view::npos)
    if (const auto query = read_query(text.substr(mark + 1), target.query); !query) return tl::unexpected(query.error());
  return target;
}

Or<std::int64_t> whole_number(const Query& query, const std::string& name, std::int64_t least, std::int64_t most,
                              std::int64_t unless) {
  const auto found = query.find(name);
  if (found == query.end()) return unless;
  const auto value = number_in(found->second);
  if (!value || *value < least || *value > most)
    return problem(400, "\"" + found->second + "\" cannot be used", "query " + name,
                   "a whole number from " + std::to_string(least) + " to " + std::to_string(most));
  return *value;
}

Or<std::optional<Time>> moment(const Query& query, const std::string& name) {
  const auto found = query.find(name);
  if (found == query.end()) return std::optional<Time>{};
  const auto value = number_in(found->second);
  if (!value || *value < 0 || *value > 253'402'300'799'999)
    return problem(400, "\"" + found->second + "\" is no moment", "query " + name, "milliseconds since 1970 UTC, such as 1772517600000");
  return std::optional{time_from_ms(*value)};
}

Or<std::string> one_of(const Query& query, const std::string& name, const std::vector<std::string_view>& words,
                       std::string_view unless) {
  const auto found = query.find(name);
  if (found == query.end()) return std::string(unless);
  if (std::find(words.begin(), words.end(), found->second) != words.end()) return found->second;
  std::string right;
  for (const std::string_view word : words) right.append(right.empty() ? "" : ", ").append(word);
  return problem(400, "\"" + found->second + "\" is not known here", "query " + name, "one of " + right);
}

Or<void> only(const Query& query, const std::vector<std::string_view>& names) {
  for (const auto& [name, value] : query) {
    if (std::find(names.begin(), names.end(), name) != names.end()) continue;
    std::string right;
    for (const std::string_view known : names) right.append(right.empty() ? "" : ", ").append(known);
    return problem(400, "the name is not known here", "query " + name, right.empty() ? "no parameters" : "one of " + right);
  }
  return {};
}

bool is_level_name(std::string_view text) {
  const auto fits = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' || c == '_' || c == '-';
  };
  return !text.empty() && text.size() <= 64 && std::all_of(text.begin(), text.end(), fits);
}

std::optional<StationId> station_named(std::string_view text) {
  const auto slash = text.find('/');
  if (slash == std::string_view::npos) return std::nullopt;
  const StationId id{std::string(text.substr(0, slash)), std::string(text.substr(slash + 1))};
  if (!is_level_name(id.site) || !is_level_name(id.station)) return std::nullopt;
  return id;
}

}  // namespace driftline::web
