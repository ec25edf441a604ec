#include "gateway/telemetry/json_text.h"

#include <charconv>

#include "gateway/telemetry/limits.h"

namespace driftline {
namespace {

bool plain(unsigned char c) { return c >= 0x20 && c < 0x7f && c != '"' && c != '\\'; }

void append_escaped_ascii(std::string& out, unsigned char c) {
  static constexpr char digits[] = "0123456789abcdef";
  switch (c) {
    case '"': out += "\\\""; return;
    case '\\': out += "\\\\"; return;
    case '\n': out += "\\n"; return;
    case '\r': out += "\\r"; return;
    case '\t': out += "\\t"; return;
    default: break;
  }
  out += "\\u00";
  out += digits[c >> 4];
  out += digits[c & 0xf];
}

void append_escaped(std::string& out, std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    std::size_t end = at;
    while (end < text.size() && plain(static_cast<unsigned char>(text[end]))) ++end;
    out.append(text, at, end - at);
    at = end;
    if (at == text.size()) return;
    const auto c = static_cast<unsigned char>(text[at]);
    if (c < 0x80) {
      append_escaped_ascii(out, c);
      ++at;
      continue;
    }
    const std::size_t length = utf8_length(text.substr(at));
    if (length == 0) out += "\xEF\xBF\xBD";
    else out.append(text, at, length);
    at += length == 0 ? 1 : length;
  }
}

std::string_view cut(std::string_view text) {
  std::size_t end = telemetry_limits::quoted_bytes_max;
  if (text.size() <= end) return text;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80) --end;
  return text.substr(0, end);
}

}  // namespace

std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U; };
  const auto follows = [&](std::size_t i) { return (byte(i) & 0xC0U) == 0x80; };
  const unsigned first = byte(0);
  if (text.empty()) return 0;
  if (first < 0x80) return 1;
  if (first < 0xC2 || !follows(1)) return 0;
  if (first < 0xE0) return 2;
  if (!follows(2)) return 0;
  if (first < 0xF0) {
    if (first == 0xE0 && byte(1) < 0xA0) return 0;  // shorter form exists
    if (first == 0xED && byte(1) > 0x9F) return 0;  // surrogates
    return 3;
  }
  if (!follows(3) || first > 0xF4) return 0;
  if (first == 0xF0 && byte(1) < 0x90) return 0;
  if (first == 0xF4 && byte(1) > 0x8F) return 0;  // beyond U+10FFFF
  return 4;
}

void append_json_string(std::string& out, std::string_view text) {
  out += '"';
  append_escaped(out, text);
  out += '"';
}

std::string in_quotes(std::string_view text) {
  std::string out;
  append_json_string(out, cut(text));
  if (cut(text).size() < text.size()) out += "...";
  return out;
}

std::string cut_short(std::string_view text) {
  std::string out;
  append_escaped(out, cut(text));
  if (cut(text).size() < text.size()) out += "...";
  return out;
}

void append_pointer(std::string& pointer, std::string_view name) {
  pointer += '/';
  for (const char c : name) {
    if (c == '~') pointer += "~0";
    else if (c == '/') pointer += "~1";
    else pointer += c;
  }
}

void append_pointer(std::string& pointer, std::size_t index) {
  char digits[24];
  const auto end = std::to_chars(digits, digits + sizeof digits, index).ptr;
  pointer += '/';
  pointer.append(digits, end);
}

}  // namespace driftline
