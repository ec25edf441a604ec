#include "gateway/telemetry/base64.h"

#include <array>
#include <cstdint>

namespace driftline {
namespace {

constexpr std::string_view alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

constexpr std::array<std::int8_t, 256> make_values() {
  std::array<std::int8_t, 256> values{};
  for (auto& value : values) value = -1;
  for (std::size_t i = 0; i < alphabet.size(); ++i)
    values[static_cast<unsigned char>(alphabet[i])] = static_cast<std::int8_t>(i);
  return values;
}
constexpr auto values = make_values();

}  // namespace

void append_base64(std::string& out, std::string_view bytes) {
  const auto byte = [&](std::size_t i) { return i < bytes.size() ? static_cast<unsigned char>(bytes[i]) : 0U; };
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const unsigned group = byte(i) << 16U | byte(i + 1) << 8U | byte(i + 2);
    out += alphabet[group >> 18U];
    out += alphabet[group >> 12U & 63U];
    out += i + 1 < bytes.size() ? alphabet[group >> 6U & 63U] : '=';
    out += i + 2 < bytes.size() ? alphabet[group & 63U] : '=';
  }
}

bool read_base64(std::string_view text, std::string& out) {
  out.clear();
  if (text.size() % 4 != 0) return false;
  for (std::size_t i = 0; i < text.size(); i += 4) {
    const bool last = i + 4 == text.size();
    const std::size_t padding = last && text[i + 3] == '=' ? (text[i + 2] == '=' ? 2U : 1U) : 0U;
    unsigned group = 0;
    for (std::size_t k = 0; k < 4; ++k) {
      const int value = k >= 4 - padding ? 0 : values[static_cast<unsigned char>(text[i + k])];
      if (value < 0) return false;
      group = group << 6U | static_cast<unsigned>(value);
    }
    if (padding == 2 && (group & 0xFFFFU) != 0) return false;  // bits that no byte holds
    if (padding == 1 && (group & 0xFFU) != 0) return false;
    out += static_cast<char>(group >> 16U & 0xFFU);
    if (padding < 2) out += static_cast<char>(group >> 8U & 0xFFU);
    if (padding < 1) out += static_cast<char>(group & 0xFFU);
  }
  return true;
}

}  // namespace driftline
