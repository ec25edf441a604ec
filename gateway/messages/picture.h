// The trend of a figure as a small PNG, for the HTML part of a mail: mail programs show no SVG and run no script. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rules/records/time.h"

namespace driftline::messages {

struct TrendPoint {
  Time time{};
  double value = 0;
  std::optional<double> usual{};  // at that turn's temperature
  bool operator==(const TrendPoint&) const = default;
};

struct Trend {
  std::string figure;  // "time_to_pressure_s"
  std::vector<TrendPoint> points;  // by time
  Time from{}, to{};
  std::optional<double> limit;
  std::optional<Time> since;  // when the shift began: shaded from there on
  double low = 0, high = 0;   // of the points
  bool operator==(const Trend&) const = default;
};

inline constexpr int picture_width = 640;  // drawn at half of it, so that it is sharp on a telephone
inline constexpr int picture_height = 200;

// Far off limits would press the trend into a line: they are left out.
[[nodiscard]] bool limit_is_in_view(const Trend& trend);

// PNG (ISO/IEC 15948), 8-bit palette. Dots are turns, dashes what was usual, the red line the limit where it is not far off.
[[nodiscard]] std::string png_of(const Trend& trend);

}  // namespace driftline::messages
