// A station's own noise: what its charts were given, turn by turn, while nothing was wrong with it. From it follows what a
// threshold costs (price.h). Gathered while the tape is played with the thresholds in force.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "rules/conditions/drift_chart.h"
#include "rules/judgement/figures.h"
#include "rules/records/half_cycle.h"
#include "rules/records/time.h"

namespace driftline::trial {

enum class Figure : std::uint8_t { time, contrast, vent, residual, peak };
inline constexpr std::size_t figure_count = 5;

// On the figure's scale: logarithm of a time or of a share of the target, or share of the residual limit.
struct NoiseTurn {
  std::int64_t start_ms = 0;
  float error = 0;
  float shown = 0;              // error of the figure whose shift is shown: of a contrast, the time's
  float model_deviation = 0;
  float deviation = 0;
  float lasting_deviation = 0;
  float expected = 0;
  float far_share = 0;          // of turns far off, as the chart had seen it
};

// Of one figure of one line, oldest first.
struct NoiseSeries {
  std::vector<NoiseTurn> turns;
  rules::ChartDesign design;    // in force at the end
  std::optional<double> limit;  // logarithm of the pump limit, as last known; of a time only
  double unit = 1;              // of the figure's scale in s or bar, as last known
  // What a smallest shift in s or bar is held against (rules/judgement/figures.h); empty: nothing is known yet.
  [[nodiscard]] std::optional<double> usual(Figure figure) const;
};

struct LineNoise {
  std::array<NoiseSeries, figure_count> figures;
  [[nodiscard]] const NoiseSeries& of(Figure figure) const { return figures[static_cast<std::size_t>(figure)]; }
};

// A stretch that is no noise: a fault and its repair.
struct Stretch {
  std::optional<int> line;  // empty: every line
  Time from{};
  Time to{};
};

struct StationNoise {
  std::map<int, LineNoise> lines;

  void take(const HalfCycle& turn, const rules::TurnFigures& figures);
  void leave_out(const std::vector<Stretch>& stretches);
  // Of the line that has fewest; 0 where there is none.
  [[nodiscard]] std::size_t turns() const;
  [[nodiscard]] double days() const;  // that those turns stand for
};

}  // namespace driftline::trial
