#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/rows_json.h"
#include "gateway/web/target.h"
#include "gateway/web/thinning.h"
#include "gateway/web/turns.h"
#include "rules/records/names.h"

namespace driftline::web {
namespace {

using Turn = history::Stored<history::HalfCycleRow>;
using Turns = std::vector<const Turn*>;

template <typename Value>
void column(JsonText& json, const std::string& name, const Turns& turns, Value value) {
  json.key(name).open('[');
  for (const Turn* turn : turns) json.put(value(*turn));
  json.close(']');
}

void put_usual(JsonText& json, const std::string& figure, const Turns& turns, std::optional<UsualFigure> TurnUsual::*of) {
  column(json, "usual_" + figure, turns, [of](const Turn& t) { return Rounded{t.row.usual.*of ? std::optional((t.row.usual.*of)->expected) : std::nullopt, 3}; });
  column(json, "deviation_" + figure, turns, [of](const Turn& t) { return Rounded{t.row.usual.*of ? std::optional((t.row.usual.*of)->deviation) : std::nullopt, 3}; });
}

void put_columns(JsonText& json, int line, const Turns& turns) {
  json.open('{').put("line", line);
  column(json, "id", turns, [](const Turn& t) { return t.id; });
  column(json, "pump_start_ms", turns, [](const Turn& t) { return t.row.half_cycle.pump_start; });
  column(json, "outcome", turns, [](const Turn& t) { return static_cast<int>(t.row.half_cycle.outcome); });
  column(json, "time_to_pressure_s", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.time_to_pressure_s, 3}; });
  column(json, "peak_bar", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.peak_bar, 2}; });
  column(json, "residual_bar", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.residual_bar, 2}; });
  column(json, "vent_s", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.vent_s, 3}; });
  put_usual(json, "time_to_pressure_s", turns, &TurnUsual::time_to_pressure_s);
  put_usual(json, "peak_bar", turns, &TurnUsual::peak_bar);
  put_usual(json, "residual_bar", turns, &TurnUsual::residual_bar);
  put_usual(json, "vent_s", turns, &TurnUsual::vent_s);
  column(json, "temp_c", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.temp_c, 2}; });
  column(json, "level_pct", turns, [](const Turn& t) { return Rounded{t.row.half_cycle.level_pct, 2}; });
  json.close('}');
}

// Of each stretch of time the first, lowest, highest and last, so that no peak is averaged away; and what missed its target.
Turns thinned(const Turns& turns, std::size_t points) {
  std::vector<ThinPoint> all;
  all.reserve(turns.size());
  for (const Turn* turn : turns) {
    const HalfCycle& t = turn->row.half_cycle;
    all.push_back({ms_since_1970(t.pump_start), t.time_to_pressure_s, t.outcome == Outcome::not_reached});
  }
  Turns kept;
  for (const std::size_t i : thin(all, points)) kept.push_back(turns[i]);
  return kept;
}

Answer turns_csv(const std::vector<Turn>& turns) {
  std::string out =
      "id,site,station,line,pump_start,pump_stop,outcome,time_to_pressure_s,usual_time_to_pressure_s,deviation_time_to_pressure_s,peak_bar,"
      "usual_peak_bar,residual_bar,usual_residual_bar,vent_s,usual_vent_s,level_pct,temp_c,samples,largest_gap_s,late\r\n";
  const auto expected = [](const std::optional<UsualFigure>& f) { return f ? std::optional(f->expected) : std::nullopt; };
  for (const Turn& turn : turns) {
    const HalfCycle& t = turn.row.half_cycle;
    const TurnUsual& usual = turn.row.usual;
    append_csv(out, std::to_string(turn.id));
    append_csv(out, turn.row.station.site);
    append_csv(out, turn.row.station.station);
    append_csv(out, std::to_string(t.line));
    append_csv(out, t.pump_start);
    append_csv(out, t.pump_stop);
    append_csv(out, name_of(t.outcome));
    append_csv(out, t.time_to_pressure_s, 3);
    append_csv(out, expected(usual.time_to_pressure_s), 3);
    append_csv(out, usual.time_to_pressure_s ? std::optional(usual.time_to_pressure_s->deviation) : std::nullopt, 3);
    append_csv(out, t.peak_bar, 2);
    append_csv(out, expected(usual.peak_bar), 2);
    append_csv(out, t.residual_bar, 2);
    append_csv(out, expected(usual.residual_bar), 2);
    append_csv(out, t.vent_s, 3);
    append_csv(out, expected(usual.vent_s), 3);
    append_csv(out, t.level_pct, 2);
    append_csv(out, t.temp_c, 2);
    append_csv(out, std::to_string(t.samples));
    append_csv(out, t.largest_gap_s, 3);
    append_csv(out, t.arrival == Arrival::late ? "true" : "false", true);
  }
  return csv_answer(std::move(out), "turns.csv");
}

}  // namespace

// The history gives the oldest first: a span that holds too many is cut at its beginning.
tl::expected<std::vector<Turn>, history::Trouble> turns_of(history::Reader& reader, const StationId& station, Time from, Time to) {
  for (;; from += (to - from) / 2) {
    auto rows = reader.half_cycles_between(station, {from, to}, turns_read_max);
    if (!rows || rows->size() < static_cast<std::size_t>(turns_read_max) || to - from < std::chrono::minutes{1}) return rows;
  }
}

Or<Answer> station_turns(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"from_ms", "to_ms", "line", "points", "format"}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto span = span_of(house, request, strip_days);
  if (!span) return tl::unexpected(span.error());
  const auto line = whole_number(request.query, "line", 1, lines_max, 0);
  if (!line) return tl::unexpected(line.error());
  const auto points = whole_number(request.query, "points", 20, turn_points_max, 600);
  if (!points) return tl::unexpected(points.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  auto rows = turns_of(*reader, *station, span->from, span->to);
  if (!rows) return of_trouble(rows.error());
  if (*line > 0) std::erase_if(*rows, [&](const Turn& t) { return t.row.half_cycle.line != *line; });
  if (*format == "csv") return turns_csv(*rows);
  std::map<int, Turns> by_line;
  for (const Turn& turn : *rows) by_line[turn.row.half_cycle.line].push_back(&turn);
  bool was_thinned = rows->size() >= static_cast<std::size_t>(turns_read_max);
  JsonText json;
  json.open('{').put("site", station->site).put("station", station->station).put("from_ms", span->from).put("to_ms", span->to);
  json.put("as_of_ms", house.fleet.now()->as_of).key("outcomes").open('[');
  for (int i = 0; i < 4; ++i) json.put(name_of(static_cast<Outcome>(i)));
  json.close(']').key("lines").open('[');
  for (const auto& [number, turns] : by_line) {
    const Turns kept = thinned(turns, static_cast<std::size_t>(*points));
    was_thinned = was_thinned || kept.size() < turns.size();
    put_columns(json, number, kept);
  }
  json.close(']').put("thinned", was_thinned).put("turns", static_cast<std::int64_t>(rows->size())).close('}');
  return json_answer(json);
}

// A turn of the station by its id, with the line's turns before and after it.
Or<TurnFound> turn_of(House& house, const Request& request, Reader& reader) {
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto id = whole_number({{"id", request.named.at("id")}}, "id", 1, INT64_MAX, 0);
  if (!id) return problem(404, "there is no such turn", "path", "an id of GET …/turns");
  auto row = reader.half_cycles_after(*id - 1, 1);
  if (!row) return of_trouble(row.error());
  if (row->empty() || row->front().id != *id || row->front().row.station != *station) return problem(404, "the station has no such turn", "path", "an id of GET …/turns");
  TurnFound found;
  found.turn = std::move(row->front());
  const HalfCycle& turn = found.turn.row.half_cycle;
  auto near = reader.half_cycles_between(*station, {turn.pump_start - std::chrono::hours{24 * 60}, turn.pump_start + std::chrono::hours{24 * 3}}, turns_read_max);
  if (!near) return of_trouble(near.error());
  // A warning that is open on the line says when its shift began: what is healthy lies before.
  Time healthy_before = turn.pump_start;
  if (const auto warnings = warnings_of(reader, *station, turn.pump_start - std::chrono::hours{24 * 60}, house.parts.wall()); warnings)
    for (const WarningView& w : *warnings)
      if (w.last.line == turn.line && w.raised <= turn.pump_start && (!w.cleared || *w.cleared > turn.pump_start))
        healthy_before = std::min(healthy_before, w.last.shift && w.last.shift->since ? *w.last.shift->since : w.raised);
  double best = 1e9;
  for (Turn& other : *near) {
    const HalfCycle& t = other.row.half_cycle;
    if (t.line != turn.line || other.id == *id) continue;
    if (t.pump_start < turn.pump_start) found.previous = other.id;
    else if (!found.next) found.next = other.id;
    if (t.pump_start >= healthy_before || t.outcome != Outcome::reached || t.shape.curve.size() < 4 || t.off_schedule) continue;
    const auto& usual = other.row.usual.time_to_pressure_s;
    if (usual && t.time_to_pressure_s && std::abs(*t.time_to_pressure_s - usual->expected) > 1.5 * usual->deviation) continue;
    const double age = days_between(t.pump_start, turn.pump_start);
    const double apart = (t.temp_c && turn.temp_c ? std::abs(*t.temp_c - *turn.temp_c) : 5) + 0.05 * age;
    if (apart < best) {
      best = apart;
      found.healthy = other;
    }
  }
  return found;
}

Or<Answer> station_turn(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto found = turn_of(house, request, *reader);
  if (!found) return tl::unexpected(found.error());
  const RiseShape& shape = found->turn.row.half_cycle.shape;
  JsonText json;
  json.open('{').key("turn");
  put(json, found->turn);
  json.key("curve");
  put_curve(json, found->turn);
  json.key("shape").open('{').put("soft_start_s", Rounded{shape.soft_start_s, 3}).put("plateau_start_s", Rounded{shape.plateau_start_s, 3});
  json.put("plateau_s", Rounded{shape.plateau_s, 3}).put("plateau_bar", Rounded{shape.plateau_bar, 2});
  json.put("steep_bar_per_s", Rounded{shape.steep_bar_per_s, 3}).put("run_on_s", Rounded{shape.run_on_s, 3}).close('}');
  json.key("healthy");
  if (found->healthy) put_curve(json, *found->healthy);
  else json.null();
  std::string why = "no turn in good order with a curve lies within the 60 days before it";
  if (found->healthy) {
    why = "the turn in good order, before anything was open on the line, at the nearest temperature";
    if (const auto& temp = found->healthy->row.half_cycle.temp_c) {
      why += " (";
      append_rounded(why, *temp, 1);
      why += " °C)";
    }
  }
  json.put("healthy_why", why).put("previous_id", found->previous).put("next_id", found->next).close('}');
  return json_answer(json);
}

}  // namespace driftline::web
