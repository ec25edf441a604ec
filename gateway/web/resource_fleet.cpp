#include <algorithm>

#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"
#include "rules/records/names.h"
#include "rules/warnings/text.h"

namespace driftline::web {
namespace {

constexpr std::size_t strips_unless = 40;

template <typename Names>
void put_names(JsonText& json, std::string_view key, const Names& names) {
  json.key(key).open('[');
  for (const auto& name : names) json.put(name);
  json.close(']');
}

template <typename Enum, typename Name>
void put_words(JsonText& json, std::string_view key, std::size_t count, Name name) {
  json.key(key).open('[');
  for (std::size_t i = 0; i < count; ++i) json.put(name(static_cast<Enum>(i)));
  json.close(']');
}

std::string fleet_json(House& house, const FleetNow& now, std::size_t strips) {
  JsonText json;
  json.open('{').put("now_ms", house.parts.wall()).put("as_of_ms", now.as_of).put("revision", now.revision);
  put_feed(json, now.gateway);
  put(json, now.head);
  put_names(json, "sites", now.sites);
  put_names(json, "states", state_names());
  put_words<Urgency>(json, "urgencies", 3, [](Urgency u) { return name_of(u); });
  put_words<Condition>(json, "conditions", condition_count, [](Condition c) { return name_of(c); });
  put_words<Condition>(json, "condition_words", condition_count, [](Condition c) { return rules::words_of(c); });
  put_names(json, "lives", life_names());
  put_words<Cause>(json, "causes", cause_count, [](Cause c) { return name_of(c); });
  put_words<Cause>(json, "cause_words", cause_count, [](Cause c) { return rules::words_of(c); });
  put_columns(json, now, all_places(now));
  std::vector<StationId> first;
  for (std::size_t i = 0; i < std::min(strips, now.rows.size()); ++i) first.push_back(now.rows[i].station);
  const auto some = house.fleet.strips(first);
  put_shape(json, some.shape);
  json.key("strips").open('[');
  for (const auto& lines : some.of) put_strip(json, lines);
  json.close(']').close('}');
  return json.take();
}

Answer fleet_csv(const FleetNow& now) {
  std::string out =
      "site,station,state,heard,urgency,condition,line,since,limit_at,limit_at_earliest,limit_at_latest,cause,open,unanswered,level_pct,"
      "life_days,life_days_low,life_days_high\r\n";
  for (const FleetRow& row : now.rows) {
    append_csv(out, row.station.site);
    append_csv(out, row.station.station);
    append_csv(out, state_names()[static_cast<std::size_t>(row.state)]);
    append_csv(out, row.heard);
    append_csv(out, row.urgency ? name_of(*row.urgency) : std::string_view{});
    append_csv(out, row.urgency ? name_of(row.condition) : std::string_view{});
    append_csv(out, row.line ? std::to_string(*row.line) : std::string{});
    append_csv(out, row.urgency ? std::optional(row.since) : std::nullopt);
    append_csv(out, row.forecast.limit_at);
    append_csv(out, row.forecast.limit_at_earliest);
    append_csv(out, row.forecast.limit_at_latest);
    append_csv(out, row.cause ? name_of(*row.cause) : std::string_view{});
    append_csv(out, std::to_string(row.open));
    append_csv(out, std::to_string(row.unanswered));
    append_csv(out, row.level_pct, 2);
    append_csv(out, row.life_days, 2);
    append_csv(out, row.life_days_low, 2);
    append_csv(out, row.life_days_high, 2, true);
  }
  return csv_answer(std::move(out), "fleet.csv");
}

Or<std::vector<StationId>> stations_named(const Request& request) {
  const auto of = request.query.find("of");
  if (of == request.query.end() || of->second.empty()) return problem(400, "no station is named", "query of", "site/station,site/station");
  std::vector<StationId> stations;
  for (std::size_t at = 0; at <= of->second.size();) {
    const std::size_t end = std::min(of->second.find(',', at), of->second.size());
    const auto id = station_named(std::string_view(of->second).substr(at, end - at));
    if (!id) return problem(400, "\"" + of->second.substr(at, end - at) + "\" is no station", "query of", "site/station,site/station");
    stations.push_back(*id);
    if (stations.size() > static_cast<std::size_t>(strips_asked_max)) return problem(400, "too many stations", "query of", "at most " + std::to_string(strips_asked_max));
    at = end + 1;
  }
  return stations;
}

void put_stations(JsonText& json, const std::vector<StationId>& stations) {
  json.key("stations").open('[');
  for (const StationId& id : stations) json.put(id.site + "/" + id.station);
  json.close(']');
}

}  // namespace

Or<Answer> fleet_list(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {"strips", "format"}); !known) return tl::unexpected(known.error());
  const auto strips = whole_number(request.query, "strips", 0, strips_asked_max, strips_unless);
  if (!strips) return tl::unexpected(strips.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  const auto now = house.fleet.now();
  if (*format == "csv") return fleet_csv(*now);
  const auto count = static_cast<std::size_t>(*strips);
  // The page asks for the default; whoever asks for another number does not push it out.
  PackedFleet& packed = count == strips_unless ? house.packed : house.packed_otherwise;
  const auto both = packed.get(now, count, house.parts.steady(), [&] { return fleet_json(house, *now, count); });
  Answer answer;
  answer.gzipped = takes_gzip(request.accept_encoding);
  answer.body = answer.gzipped ? both.gzip : both.plain;
  answer.tag = both.tag + (answer.gzipped ? "-g" : "");
  return answer;
}

Or<Answer> fleet_strips(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {"of"}); !known) return tl::unexpected(known.error());
  const auto stations = stations_named(request);
  if (!stations) return tl::unexpected(stations.error());
  const auto some = house.fleet.strips(*stations);
  JsonText json;
  json.open('{');
  put_shape(json, some.shape);
  put_stations(json, *stations);
  json.key("strips").open('[');
  for (std::size_t i = 0; i < stations->size(); ++i) house.fleet.knows((*stations)[i]) ? put_strip(json, some.of[i]) : void(json.null());
  json.close(']').close('}');
  return json_answer(json);
}

// The feed tells of no station that goes on being heard: for those that somebody looks at the page asks each few seconds.
Or<Answer> fleet_heard(House& house, const Request& request, Reader*) {
  if (const auto known = only(request.query, {"of"}); !known) return tl::unexpected(known.error());
  const auto stations = stations_named(request);
  if (!stations) return tl::unexpected(stations.error());
  const auto now = house.fleet.now();
  JsonText json;
  json.open('{').put("as_of_ms", now->as_of);
  put_stations(json, *stations);
  json.key("heard_ms").open('[');
  for (const StationId& id : *stations) {
    const auto place = now->place.find(id);
    json.put(place == now->place.end() ? std::nullopt : now->rows[place->second].heard);
  }
  json.close(']').close('}');
  return json_answer(json);
}

}  // namespace driftline::web
