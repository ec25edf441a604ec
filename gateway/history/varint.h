// Whole numbers as few bytes, for gateway/history/*pack.cpp only: 7 bits a byte, lowest first, top bit: more follow.
#pragma once

#include <bit>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace driftline::history {

inline void put_varint(std::uint64_t value, std::string& out) {
  while (value >= 0x80) {
    out.push_back(static_cast<char>(value | 0x80));
    value >>= 7;
  }
  out.push_back(static_cast<char>(value));
}

inline std::optional<std::uint64_t> take_varint(std::string_view& bytes) {
  std::uint64_t value = 0;
  for (unsigned shift = 0; shift < 64; shift += 7) {
    if (bytes.empty()) return std::nullopt;
    const auto byte = static_cast<unsigned char>(bytes.front());
    bytes.remove_prefix(1);
    value |= static_cast<std::uint64_t>(byte & 0x7F) << shift;
    if (byte < 0x80) return value;
  }
  return std::nullopt;
}

inline std::uint64_t zigzag(std::int64_t value) {
  return (static_cast<std::uint64_t>(value) << 1) ^ static_cast<std::uint64_t>(value >> 63);
}
inline std::int64_t unzigzag(std::uint64_t value) {
  return static_cast<std::int64_t>(value >> 1) ^ -static_cast<std::int64_t>(value & 1);
}

// The number as thousandths, if that gives the very same bits back.
inline std::optional<std::int64_t> in_thousandths(double number) {
  if (!(std::abs(number) < 1e12)) return std::nullopt;
  const std::int64_t whole = std::llround(number * 1000.0);
  const double back = static_cast<double>(whole) / 1000.0;
  if (std::bit_cast<std::uint64_t>(back) != std::bit_cast<std::uint64_t>(number)) return std::nullopt;
  return whole;
}

inline std::optional<char> take_byte(std::string_view& bytes) {
  if (bytes.empty()) return std::nullopt;
  const char byte = bytes.front();
  bytes.remove_prefix(1);
  return byte;
}

}  // namespace driftline::history
