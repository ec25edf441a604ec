#include "rules/hydraulics/turn_prior.h"

#include <algorithm>
#include <cmath>

namespace driftline::hydraulics {
namespace {

constexpr double known_deviation = 0.15;
constexpr double assumed_deviation = 0.25;
constexpr double slope_deviation = 0.05;

}  // namespace

std::optional<TurnPrior> time_to_pressure_prior(const StationDesign& design, int line,
                                                const Assumptions& with) {
  if (line < 1 || line > static_cast<int>(design.lines.size())) return std::nullopt;
  StationDesign alone = design;
  alone.lines = {design.lines[static_cast<std::size_t>(line - 1)]};
  const Expectation out = expected_turns(alone, {0, 10, 20}, with);
  if (out.turns.size() != 3 ||
      std::ranges::any_of(out.turns, [](const ExpectedTurn& t) { return !t.time_to_pressure_s; }))
    return std::nullopt;
  const bool assumed = std::ranges::any_of(out.assumed, [](const std::string& what) {
    return what.starts_with("lines/") || what == "target_bar";
  });
  return TurnPrior{
      .level = std::log(*out.turns[1].time_to_pressure_s),
      .level_deviation = assumed ? assumed_deviation : known_deviation,
      .slope = (std::log(*out.turns[2].time_to_pressure_s) - std::log(*out.turns[0].time_to_pressure_s)) / 2,
      .slope_deviation = slope_deviation};
}

}  // namespace driftline::hydraulics
