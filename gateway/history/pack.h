// Columns of numbers as a blob, exact. Version 1, never to change; a new layout gets a new version.
//
//   1      version
//   .      number of values, varint (7 bits a byte, lowest first, top bit: more follow)
//   1      0: thousandths: each value is a whole number of thousandths; zigzag varint of the difference to the one before
//          1: raw: 8 bytes each, IEEE 754, little-endian
//   .      the values
//
// Pressures and times of telemetry have few decimals, so a curve of 64 points takes about 260 bytes instead of 1,024.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "rules/records/half_cycle.h"

namespace driftline::history {

void pack_numbers(std::span<const double> numbers, std::string& out);
// Takes one column off the front; empty for bytes that are none.
[[nodiscard]] std::optional<std::vector<double>> unpack_numbers(std::string_view& bytes);

// Two columns: after_s, bar.
[[nodiscard]] std::string pack_curve(const std::vector<CurvePoint>& curve);
[[nodiscard]] std::optional<std::vector<CurvePoint>> unpack_curve(std::string_view bytes);

// What the lines held at the turn's start and stop: a byte each that says which are known, then a column of those.
using LinePressures = std::array<std::optional<double>, lines_max>;
struct OtherLines {
  LinePressures start_bar{};
  LinePressures stop_bar{};
};
[[nodiscard]] std::string pack_others(const LinePressures& start_bar, const LinePressures& stop_bar);
[[nodiscard]] std::optional<OtherLines> unpack_others(std::string_view bytes);

}  // namespace driftline::history
