#include "gateway/web/json_text.h"

#include <charconv>
#include <cmath>

namespace driftline::web {
namespace {

constexpr double scales[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};

// Bytes of the character that begins here; 0: none does.
std::size_t utf8_length(std::string_view text) {
  const auto first = static_cast<unsigned char>(text[0]);
  const std::size_t length = first < 0x80 ? 1 : first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : 2;
  if (first >= 0x80 && (first < 0xc2 || first > 0xf4)) return 0;
  if (length > text.size()) return 0;
  for (std::size_t i = 1; i < length; ++i)
    if ((static_cast<unsigned char>(text[i]) & 0xc0U) != 0x80U) return 0;
  const auto second = length > 1 ? static_cast<unsigned char>(text[1]) : 0;
  const bool overlong = (first == 0xe0 && second < 0xa0) || (first == 0xf0 && second < 0x90);
  const bool outside = (first == 0xed && second >= 0xa0) || (first == 0xf4 && second >= 0x90);
  return overlong || outside ? 0 : length;
}

}  // namespace

void append_escaped(std::string& out, std::string_view text) {
  constexpr char digits[] = "0123456789abcdef";
  out += '"';
  while (!text.empty()) {
    const auto c = static_cast<unsigned char>(text[0]);
    const std::size_t length = utf8_length(text);
    if (length == 0) out += "\xef\xbf\xbd";
    else if (c == '"' || c == '\\') (out += '\\') += text[0];
    else if (c == '\n') out += "\\n";
    else if (c < 0x20 || c == 0x7f) ((out += "\\u00") += digits[c >> 4U]) += digits[c & 15U];
    else out.append(text.substr(0, length));
    text.remove_prefix(length == 0 ? 1 : length);
  }
  out += '"';
}

void append_rounded(std::string& out, double value, int decimals) {
  if (!std::isfinite(value)) {
    out += "null";
    return;
  }
  const double scale = scales[decimals];
  double rounded = std::round(value * scale) / scale;
  if (rounded == 0) rounded = 0;  // no minus zero
  char text[40];
  const auto end = std::to_chars(text, text + sizeof text, rounded, std::chars_format::fixed).ptr;
  if (static_cast<std::size_t>(end - text) < sizeof text) out.append(text, end);
  else out += "null";
}

JsonText& JsonText::key(std::string_view name) {
  comma();
  ((out_ += '"') += name) += "\":";
  first_ = true;
  return *this;
}

JsonText& JsonText::put(std::int64_t value) {
  comma();
  char text[24];
  out_.append(text, std::to_chars(text, text + sizeof text, value).ptr);
  return *this;
}

}  // namespace driftline::web
