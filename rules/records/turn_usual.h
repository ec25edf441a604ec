// What a turn was held against: the line's own habit at the turn's temperature, as the baseline knew it before the turn.
#pragma once

#include <optional>

namespace driftline {

// In the figure's own unit, to the thousandth, so that what is stored comes back exact.
struct UsualFigure {
  double expected = 0;   // of a figure that is learnt as a logarithm: its median
  double deviation = 0;  // standard deviation of one turn about it, with what the baseline does not know itself
  bool operator==(const UsualFigure&) const = default;
};

// Empty while the baseline learns, where the turn was not judged (out of service, older than what is already judged), and,
// but for the time to pressure, where the turn has no such figure.
struct TurnUsual {
  std::optional<UsualFigure> time_to_pressure_s;
  std::optional<UsualFigure> peak_bar;
  std::optional<UsualFigure> residual_bar;
  std::optional<UsualFigure> vent_s;
  bool operator==(const TurnUsual&) const = default;
};

}  // namespace driftline
