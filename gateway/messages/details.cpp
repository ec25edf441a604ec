#include "gateway/messages/details.h"

#include <algorithm>

#include "gateway/messages/limits.h"

namespace driftline::messages {
namespace {

using history::HalfCycleRow;
using history::MessageKind;

std::optional<TrendPoint> point_of(const HalfCycleRow& row, std::string_view figure) {
  const HalfCycle& turn = row.half_cycle;
  const auto with = [&](const std::optional<double>& value, const std::optional<UsualFigure>& usual) -> std::optional<TrendPoint> {
    if (!value) return std::nullopt;
    return TrendPoint{turn.pump_start, *value, usual ? std::optional{usual->expected} : std::nullopt};
  };
  if (figure == "time_to_pressure_s") return with(turn.time_to_pressure_s, row.usual.time_to_pressure_s);
  if (figure == "vent_s") return with(turn.vent_s, row.usual.vent_s);
  if (figure == "residual_bar") return with(turn.residual_bar, row.usual.residual_bar);
  if (figure == "peak_bar") return with(turn.peak_bar, row.usual.peak_bar);
  if (figure == "level_pct") return with(turn.level_pct, std::nullopt);
  return std::nullopt;
}

bool about_the_reservoir(Condition condition) {
  return condition == Condition::reservoir_low || condition == Condition::short_reservoir_life || condition == Condition::grease_use_shift;
}

std::string figure_of(const WarningChange& warning) {
  if (about_the_reservoir(warning.condition)) return "level_pct";
  return warning.shift ? warning.shift->figure : std::string{};
}

std::optional<Trend> trend_of(const WarningChange& warning, const std::vector<history::Stored<HalfCycleRow>>& turns, Time now) {
  Trend trend{.figure = figure_of(warning), .points = {}, .from = now - trend_for, .to = now, .limit = {}, .since = {}};
  for (const auto& turn : turns) {
    if (warning.line && turn.row.half_cycle.line != *warning.line) continue;
    if (const auto point = point_of(turn.row, trend.figure)) trend.points.push_back(*point);
  }
  if (trend.points.size() < trend_points_min) return std::nullopt;
  const auto [low, high] = std::ranges::minmax_element(trend.points, {}, &TrendPoint::value);
  trend.low = low->value;
  trend.high = high->value;
  if (warning.shift && warning.shift->figure == trend.figure) {
    trend.limit = warning.shift->limit;
    trend.since = warning.shift->since;
  }
  return trend;
}

void fill_open(Item& item, history::Reader& reader, const Facts& facts, Time now) {
  if (!item.warning || figure_of(*item.warning).empty()) return;
  const auto turns = reader.half_cycles_between(item.warning->station, {now - trend_for, now + std::chrono::hours{1}}, trend_turns_max);
  if (!turns) return;
  item.trend = trend_of(*item.warning, *turns, now);
  const auto station = facts.find(item.warning->station);
  if (!about_the_reservoir(item.warning->condition) || station == facts.end() || !station->second.reservoir_kg) return;
  const auto last = std::find_if(turns->rbegin(), turns->rend(), [](const auto& turn) { return turn.row.half_cycle.level_pct.has_value(); });
  if (last != turns->rend()) item.grease_kg = std::max(0.0, (100 - *last->row.half_cycle.level_pct) / 100 * *station->second.reservoir_kg);
}

void fill_ended(Item& item, history::Reader& reader, Time now) {
  const history::MessageRow& row = item.message.row;
  const auto changes = reader.warnings_between(row.warning->station, {row.raised, now + std::chrono::hours{1}}, changes_looked_at);
  if (!changes) return;
  for (const auto& change : *changes)
    if (change.row.change == Change::cleared && history::ref_of(change.row) == *row.warning) item.ended = change.row.text;
}

}  // namespace

void fill_in(Item& item, history::Reader& reader, const Facts& facts, Time now) {
  if (!item.message.row.warning) return;
  if (item.message.row.kind == MessageKind::over)
    fill_ended(item, reader, now);
  else if (item.message.row.kind != MessageKind::taken)
    fill_open(item, reader, facts, now);
}

}  // namespace driftline::messages
