// Pictures for a report: SVG of series over an axis, drawn by hand. Pure.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace driftline::web {

struct ChartPoint {
  double x = 0;
  std::optional<double> y;              // empty: a gap
  std::optional<double> low, high;      // the band that is usual at this point
  bool missed = false;                  // marked on the upper edge
};

struct ChartSeries {
  std::string name;    // "line 1"
  bool second = false; // drawn in the second ink, dashed: told apart without colour
  std::vector<ChartPoint> points;  // x does not fall
};

struct Chart {
  std::string title;
  std::string y_words;  // "Time to pressure, s"
  std::function<std::string(double)> x_text;
  std::vector<double> x_marks;
  std::vector<ChartSeries> series;
  std::optional<double> limit;  // a line across
  std::string limit_words;
  int width = 800;
  int height = 320;
  bool dark = false;
};

[[nodiscard]] std::string svg_of(const Chart& chart);

// Round numbers from `low` to `high`, about `count` of them.
[[nodiscard]] std::vector<double> round_marks(double low, double high, int count);

}  // namespace driftline::web
