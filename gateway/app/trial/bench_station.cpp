#include "gateway/app/trial/bench_station.h"

#include <cmath>

#include "gateway/app/trial/material.h"
#include "gateway/app/trial/play.h"

namespace driftline::trial {
namespace {

using Figures = decltype(BenchStation::figures);

void add_point(Figures& figures, Condition condition, const HalfCycle& turn, const std::optional<rules::ChartedFigure>& charted, bool logarithm, double scale) {
  if (!charted || !charted->learnt) return;
  const auto shown = [&](double y) { return static_cast<float>((logarithm ? std::exp(y) : y) * scale); };
  figures[condition][turn.line].push_back({ms_since_1970(turn.pump_start), shown(charted->y), shown(charted->expected.value)});
}

void add_points(Figures& figures, const HalfCycle& turn, const rules::TurnFigures& f) {
  add_point(figures, Condition::slow_to_pressure, turn, f.time, true, 1);
  add_point(figures, Condition::slow_vent, turn, f.vent, true, 1);
  add_point(figures, Condition::residual_pressure, turn, f.residual, false, f.residual_limit_bar);
  add_point(figures, Condition::peak_shift, turn, f.peak, true, turn.settings.target_bar.value_or(1));
}

}  // namespace

Condition drawn_as(Condition condition) {
  switch (condition) {
    case Condition::slow_vent:
    case Condition::residual_pressure:
    case Condition::peak_shift: return condition;
    default: return Condition::slow_to_pressure;
  }
}

std::vector<Episode> episodes_alone(const StationId& id, std::vector<fold::Step> steps, const std::vector<Trouble>& troubles, Time until) {
  std::map<std::string, std::vector<fold::Step>> alone;
  alone[id.station] = std::move(steps);
  auto episodes = episodes_of(play_site(id.site, std::move(alone), until).warnings, time_from_ms(0));
  match_troubles(episodes, troubles);
  return episodes;
}

tl::expected<std::shared_ptr<const BenchStation>, std::string> bench_station(const std::string& history_file, const StationId& id,
                                                                             const rules::StationContext& in_force, std::chrono::nanoseconds steady) {
  const auto material = material_of_history(history_file, {id}, std::nullopt);
  if (!material) return tl::unexpected(material.error());
  auto tape = material->tape(id);
  if (!tape) return tl::unexpected(tape.error());
  auto now = std::make_shared<BenchStation>();
  now->id = id;
  now->in_force = in_force;
  now->read_at = steady;
  now->until = material->until;
  now->tape = std::move(*tape);
  now->heard = listen(*now->tape, in_force, time_from_ms(0), now->until,
                      [&](const HalfCycle& turn, const rules::TurnFigures& figures) { add_points(now->figures, turn, figures); });
  now->episodes = episodes_alone(id, std::move(now->heard.steps), now->heard.troubles, now->until);
  now->heard.noise.leave_out(not_noise(now->heard.troubles, now->episodes, now->until));
  return std::shared_ptr<const BenchStation>(now);
}

}  // namespace driftline::trial
