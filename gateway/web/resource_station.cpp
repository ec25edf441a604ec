#include <algorithm>
#include <map>

#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/rows_json.h"
#include "gateway/web/target.h"
#include "gateway/web/turns.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::web {
namespace {

using Turn = history::Stored<history::HalfCycleRow>;

void put_design(JsonText& json, const StationDesign& d) {
  json.key("design").open('{').put("displacement_cm3_min", Rounded{d.displacement_cm3_min, 2}).put("reservoir_kg", Rounded{d.reservoir_kg, 2});
  json.put("grease_density_kg_l", Rounded{d.grease_density_kg_l, 3}).put("low_pct", Rounded{d.low_pct, 2}).put("empty_pct", Rounded{d.empty_pct, 2}).close('}');
}

void put_line(JsonText& json, int line, const std::vector<Turn>& turns, const StationDesign& design) {
  const Turn* last = nullptr;
  int count = 0;
  int missed = 0;
  for (const Turn& turn : turns) {
    if (turn.row.half_cycle.line != line) continue;
    last = &turn;
    ++count;
    if (turn.row.half_cycle.outcome == Outcome::not_reached) ++missed;
  }
  json.open('{').put("line", line).key("last_turn");
  if (last) put(json, *last);
  else json.null();
  json.put("turns_30_days", count).put("missed_target_30_days", missed).key("design");
  if (static_cast<std::size_t>(line) <= design.lines.size()) {
    const LineDesign& d = design.lines[static_cast<std::size_t>(line - 1)];
    json.open('{').put("length_m", Rounded{d.length_m, 2}).put("bore_mm", Rounded{d.bore_mm, 2}).put("devices", d.devices);
    json.put("charges_cm3", Rounded{d.charges_cm3, 2}).close('}');
  } else {
    json.null();
  }
  json.close('}');
}

void put_reservoir(JsonText& json, const std::optional<ReservoirDay>& day) {
  json.key("reservoir");
  if (!day) {
    json.null();
    return;
  }
  json.open('{').put("date_ms", day->date).put("level_pct", Rounded{day->level_pct, 2}).put("use_pct_per_day", Rounded{day->use_pct_per_day, 4});
  json.put("life_days", Rounded{day->life_days, 2}).put("life_days_low", Rounded{day->life_days_low, 2}).put("life_days_high", Rounded{day->life_days_high, 2}).close('}');
}

}  // namespace

Or<Answer> station_now(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto fleet = house.fleet.now();
  const FleetRow& row = fleet->rows[fleet->place.at(*station)];
  const Time now = house.parts.wall();
  const auto turns = turns_of(*reader, *station, now - std::chrono::hours{24 * strip_days}, now + std::chrono::hours{24});
  if (!turns) return of_trouble(turns.error());
  const auto days = reader->reservoir_days_between(*station, {now - std::chrono::hours{24 * 14}, now + std::chrono::hours{48}}, days_read_max);
  if (!days) return of_trouble(days.error());
  const auto warnings = warnings_of(*reader, *station, now - std::chrono::hours{24 * strip_days}, now);
  if (!warnings) return of_trouble(warnings.error());
  const auto configured = house.parts.configured();
  const auto found = configured->find(*station);
  const StationDesign design = found == configured->end() ? StationDesign{} : found->second.design;
  const auto plant = house.parts.plant();
  StationHeard heard;
  if (plant)
    for (const StationHeard& one : plant->stations)
      if (one.station == *station) heard = one;
  ControllerSettings settings = design.settings;
  if (!turns->empty()) settings = overlay(settings, turns->back().row.half_cycle.settings);

  JsonText json;
  json.open('{').put("now_ms", now).put("as_of_ms", fleet->as_of).put("site", station->site).put("station", station->station);
  json.put("configured", found != configured->end()).put("state", state_names()[static_cast<std::size_t>(row.state)]).put("heard_ms", row.heard);
  json.put("messages", heard.messages).put("samples", heard.samples).put("samples_behind", heard.samples_behind).put("faults", heard.faults);
  json.key("lines").open('[');
  const int lines = std::max(row.lines, settings.lines.value_or(0));
  for (int line = 1; line <= std::min(lines, lines_max); ++line) put_line(json, line, *turns, design);
  json.close(']').key("settings");
  put(json, settings);
  put_design(json, design);
  put_reservoir(json, knows_life(heard.reservoir) || days->empty() ? heard.reservoir : std::optional(days->back().row));
  json.key("warnings").open('[');
  for (const WarningView& warning : *warnings) put(json, warning);
  json.close(']').key("in_progress");
  if (const auto turn = house.live.turn_now(*station)) put_turn_now(json, *turn, house.fleet.line_now(*station, turn->line));
  else json.null();
  json.close('}');
  return json_answer(json);
}

Or<Answer> station_thresholds(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  JsonText json;
  json.open('{').put("site", station->site).put("station", station->station).key("thresholds").open('[');
  for (const ThresholdNow& threshold : house.parts.thresholds(*station))
    json.open('{').put("name", threshold.name).key("value").raw(threshold.value).put("from", threshold.from).close('}');
  json.close(']').close('}');
  return json_answer(json);
}

Or<Answer> station_forecasts(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"from_ms", "to_ms", "format"}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto span = span_of(house, request, strip_days);
  if (!span) return tl::unexpected(span.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  const auto days = reader->forecast_days_between(*station, {span->from, span->to}, days_read_max);
  if (!days) return of_trouble(days.error());
  if (*format == "csv") {
    std::string out = "date,site,station,line,condition,limit_at,limit_at_earliest,limit_at_latest\r\n";
    for (const auto& [id, day] : *days) {
      append_csv(out, rfc3339_date(day.date));
      append_csv(out, station->site);
      append_csv(out, station->station);
      append_csv(out, day.line ? std::to_string(*day.line) : std::string{});
      append_csv(out, name_of(day.condition));
      append_csv(out, day.forecast.limit_at);
      append_csv(out, day.forecast.limit_at_earliest);
      append_csv(out, day.forecast.limit_at_latest, true);
    }
    return csv_answer(std::move(out), "forecasts.csv");
  }
  std::map<std::pair<std::optional<int>, Condition>, std::vector<const ForecastDay*>> series;
  for (const auto& day : *days) series[{day.row.line, day.row.condition}].push_back(&day.row);
  JsonText json;
  json.open('{').put("as_of_ms", house.fleet.now()->as_of).key("series").open('[');
  for (const auto& [of, all] : series) {
    json.open('{').put("line", of.first).put("condition", name_of(of.second)).key("date_ms").open('[');
    for (const ForecastDay* day : all) json.put(day->date);
    json.close(']').key("limit_at_ms").open('[');
    for (const ForecastDay* day : all) json.put(day->forecast.limit_at);
    json.close(']').key("limit_at_earliest_ms").open('[');
    for (const ForecastDay* day : all) json.put(day->forecast.limit_at_earliest);
    json.close(']').key("limit_at_latest_ms").open('[');
    for (const ForecastDay* day : all) json.put(day->forecast.limit_at_latest);
    json.close(']').close('}');
  }
  json.close(']').close('}');
  return json_answer(json);
}

}  // namespace driftline::web
