// One reading of a station.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "rules/records/identity.h"
#include "rules/records/time.h"

namespace driftline {

// Pressure of each feed line, bar gauge. A line beyond `lines`, or whose bit in `given` is clear, gave nothing.
struct Pressures {
  std::array<double, lines_max> bar{};
  std::uint8_t lines = 0;
  std::uint8_t given = 0;

  // `line` counts from 1; outside 1..8 is empty.
  [[nodiscard]] std::optional<double> of_line(int line) const {
    if (line < 1 || line > lines || ((given >> (line - 1)) & 1U) == 0) return std::nullopt;
    return bar[static_cast<std::size_t>(line - 1)];
  }
  void append(std::optional<double> value) {
    bar[lines] = value.value_or(0.0);
    if (value) given = static_cast<std::uint8_t>(given | (1U << lines));
    ++lines;
  }
  bool operator==(const Pressures&) const = default;
};

struct Sample {
  Time time{};  // the station's clock
  std::optional<std::uint64_t> seq;
  std::optional<bool> pump;
  std::optional<int> line;  // 1..8
  Pressures pressure;
  std::optional<double> level_pct;
  std::optional<bool> level_low;
  std::optional<double> temp_c;
  bool operator==(const Sample&) const = default;
};

}  // namespace driftline
