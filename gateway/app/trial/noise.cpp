#include "gateway/app/trial/noise.h"

#include <algorithm>
#include <cmath>

namespace driftline::trial {
namespace {

void add(NoiseSeries& series, Time start, const std::optional<rules::ChartedFigure>& charted,
         const std::optional<rules::ChartedFigure>& shown, double unit = 1) {
  if (!charted || !charted->learnt || charted->settling || !(charted->expected.deviation > 0)) return;
  const rules::Expectation& e = charted->expected;
  series.design = charted->design;
  series.unit = unit;
  series.turns.push_back({ms_since_1970(start), static_cast<float>(charted->error),
                          static_cast<float>(shown ? shown->error : charted->error), static_cast<float>(e.model_deviation),
                          static_cast<float>(e.deviation), static_cast<float>(e.lasting_deviation), static_cast<float>(e.value),
                          static_cast<float>(charted->far_share)});
}

bool lies_in(const NoiseTurn& turn, int line, const std::vector<Stretch>& stretches) {
  return std::any_of(stretches.begin(), stretches.end(), [&](const Stretch& s) {
    return (!s.line || *s.line == line) && turn.start_ms >= ms_since_1970(s.from) && turn.start_ms < ms_since_1970(s.to);
  });
}

}  // namespace

void StationNoise::take(const HalfCycle& turn, const rules::TurnFigures& figures) {
  LineNoise& line = lines[turn.line];
  const auto series = [&](Figure figure) -> NoiseSeries& { return line.figures[static_cast<std::size_t>(figure)]; };
  add(series(Figure::time), turn.pump_start, figures.time, figures.time);
  add(series(Figure::contrast), turn.pump_start, figures.contrast, figures.time);
  add(series(Figure::vent), turn.pump_start, figures.vent, figures.vent);
  add(series(Figure::residual), turn.pump_start, figures.residual, figures.residual, figures.residual_limit_bar);
  add(series(Figure::peak), turn.pump_start, figures.peak, figures.peak, figures.target_bar.value_or(1));
  if (turn.settings.pump_limit_s && *turn.settings.pump_limit_s > 0) series(Figure::time).limit = std::log(*turn.settings.pump_limit_s);
}

std::optional<double> NoiseSeries::usual(Figure figure) const {
  if (figure == Figure::residual || figure == Figure::peak) return unit;
  if (turns.empty()) return std::nullopt;
  std::vector<float> expected;
  for (const NoiseTurn& turn : turns) expected.push_back(turn.expected);
  const auto middle = expected.begin() + static_cast<std::ptrdiff_t>(expected.size() / 2);
  std::nth_element(expected.begin(), middle, expected.end());
  return std::exp(double{*middle});
}

void StationNoise::leave_out(const std::vector<Stretch>& stretches) {
  for (auto& [number, line] : lines)
    for (NoiseSeries& series : line.figures)
      std::erase_if(series.turns, [&](const NoiseTurn& turn) { return lies_in(turn, number, stretches); });
}

std::size_t StationNoise::turns() const {
  std::size_t fewest = 0;
  for (const auto& [number, line] : lines) {
    const std::size_t count = line.of(Figure::time).turns.size();
    if (fewest == 0 || count < fewest) fewest = count;
  }
  return fewest;
}

double StationNoise::days() const {
  if (lines.empty()) return 0;
  const double a_year = lines.begin()->second.of(Figure::time).design.turns_a_year;
  return a_year > 0 ? static_cast<double>(turns()) / a_year * 365.25 : 0;
}

}  // namespace driftline::trial
