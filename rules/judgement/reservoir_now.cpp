#include "rules/judgement/reservoir_now.h"

#include "rules/judgement/station_state.h"

namespace driftline::rules {

std::optional<ReservoirDay> reservoir_now(const StationState& state, Time now, const StationContext& context) {
  if (!state.reservoir.started) return std::nullopt;
  const Time last = state.reservoir.last_event;
  const Time at = now > last && now - last < std::chrono::hours{24} ? now : last;
  const auto life = reservoir::life_at(state.reservoir, at, {context.id, context.design, context.thresholds});
  return ReservoirDay{at, context.id, life.level_pct, life.use_pct_per_day, life.days, life.days_low, life.days_high};
}

}  // namespace driftline::rules
