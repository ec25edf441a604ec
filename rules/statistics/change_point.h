// Where the mean of a series changed: least squares over the places of the breaks. Pure; any thread.
//
// Source: Bai & Perron (2003) for the dynamic programme, BIC with two parameters a segment (mean and the place of its
// end), as printed in tests/reference/change_point_test.cpp for the Nile series.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace driftline::statistics {

struct MeanShift {
  std::size_t before = 0;   // values before the change: the new level begins at this index
  double level_before = 0;
  double level_after = 0;
  double rss = 0;           // residual sum of squares with the one break
  bool operator==(const MeanShift&) const = default;
};
// The one break with the least residual sum of squares, each side at least `segment_min` (>= 1) long. O(n). Empty when the
// series is too short. That a break is there at all is another question: compare BIC.
[[nodiscard]] std::optional<MeanShift> locate_shift(std::span<const double> values, std::size_t segment_min = 2);

struct Breaks {
  std::vector<std::size_t> before;  // values before each break, rising
  double rss = 0;
  double bic = 0;
  bool operator==(const Breaks&) const = default;
};
// Best places for exactly 0, 1, ... `breaks_max` breaks (fewer when they do not fit). O(breaks_max * n^2).
[[nodiscard]] std::vector<Breaks> locate_breaks(std::span<const double> values, std::size_t segment_min, std::size_t breaks_max);
// Of those the one with the least BIC.
[[nodiscard]] Breaks best_breaks(std::span<const double> values, std::size_t segment_min, std::size_t breaks_max);

}  // namespace driftline::statistics
