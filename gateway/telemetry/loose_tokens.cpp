#include "gateway/telemetry/loose_tokens.h"

#include <array>
#include <charconv>

#include "gateway/telemetry/json_values.h"

namespace driftline {
namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool is_not_a_number(std::string_view token) {
  constexpr std::array<std::string_view, 8> words{"nan", "inf", "infinity", "1.#qnan", "1.#ind", "1.#inf", "nan(ind)", "nanq"};
  if (!token.empty() && (token.front() == '-' || token.front() == '+')) token.remove_prefix(1);
  for (const std::string_view word : words) {
    if (token.size() != word.size()) continue;
    bool same = true;
    for (std::size_t i = 0; i < word.size(); ++i) same = same && lower(token[i]) == word[i];
    if (same) return true;
  }
  return false;
}

// JSON's grammar of numbers (RFC 8259, section 6), and a value that 64 bits or a double cannot hold.
bool is_too_big(std::string_view token) {
  std::size_t at = !token.empty() && token.front() == '-' ? 1 : 0;
  const auto digits = [&] {
    const std::size_t first = at;
    while (at < token.size() && token[at] >= '0' && token[at] <= '9') ++at;
    return at - first;
  };
  const bool leading_zero = at < token.size() && token[at] == '0';
  const std::size_t whole = digits();
  if (whole == 0 || (leading_zero && whole > 1)) return false;
  if (at == token.size()) return whole > 18;
  if (token[at] == '.') {
    ++at;
    if (digits() == 0) return false;
  }
  if (at < token.size() && lower(token[at]) == 'e') {
    ++at;
    if (at < token.size() && (token[at] == '+' || token[at] == '-')) ++at;
    if (digits() == 0) return false;
  }
  if (at != token.size()) return false;
  double value = 0;
  return std::from_chars(token.data(), token.data() + token.size(), value).ec == std::errc::result_out_of_range;
}

bool ends_token(char c) {
  return c == ',' || c == ']' || c == '}' || c == ':' || c == '[' || c == '{' || c == '"' || c == ' ' || c == '\t' ||
         c == '\n' || c == '\r';
}

std::size_t string_end(std::string_view text, std::size_t at) {
  for (++at; at < text.size() && text[at] != '"'; ++at)
    if (text[at] == '\\') ++at;
  return at < text.size() ? at + 1 : text.size();
}

}  // namespace

Loosened loosen_tokens(std::string_view payload, std::string& out) {
  out.clear();
  Loosened result = Loosened::nothing;
  for (std::size_t at = 0; at < payload.size();) {
    std::size_t end = at + 1;
    if (payload[at] == '"') {
      end = string_end(payload, at);
    } else if (!ends_token(payload[at])) {
      while (end < payload.size() && !ends_token(payload[end])) ++end;
      const std::string_view token = payload.substr(at, end - at);
      const bool no_number = is_not_a_number(token);
      if (no_number || is_too_big(token)) {
        out.append("\"").append(1, json_values::loose_mark).append(token).append("\"");
        if (no_number) result = Loosened::not_numbers;
        else if (result == Loosened::nothing) result = Loosened::big_numbers;
        at = end;
        continue;
      }
    }
    out.append(payload, at, end - at);
    at = end;
  }
  return result;
}

}  // namespace driftline
