#include <algorithm>
#include <cmath>

#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"
#include "gateway/web/thinning.h"
#include "gateway/web/turns.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"
#include "rules/warnings/text.h"

namespace driftline::web {
namespace {

using Days = std::vector<history::Stored<ReservoirDay>>;

constexpr std::size_t readings_told = 600;
// A level that rises by this from turn to turn was filled up: more than a follower sticks (rules/reservoir/limits.h).
constexpr double refill_pct_min = 8;
// A refill that a person noted and one that is seen within this are one.
constexpr double same_refill_days = 1;

struct Reading {
  Time at{};
  double level_pct = 0;
};

struct Refill {
  Time at{};
  std::optional<double> from_pct, to_pct;
  bool noted = false;
};

std::vector<Refill> refills_of(const std::vector<Reading>& readings, const std::vector<history::Stored<history::ServiceNoteRow>>& notes) {
  std::vector<Refill> all;
  for (std::size_t i = 1; i < readings.size(); ++i)
    if (readings[i].level_pct - readings[i - 1].level_pct >= refill_pct_min) all.push_back({readings[i].at, readings[i - 1].level_pct, readings[i].level_pct, false});
  for (const auto& note : notes) {
    if (note.row.note.kind != ServiceKind::refilled) continue;
    const auto same = std::find_if(all.begin(), all.end(), [&](const Refill& r) { return std::abs(days_between(r.at, note.row.note.time)) < same_refill_days; });
    if (same != all.end()) same->noted = true;
    else all.push_back({note.row.note.time, std::nullopt, std::nullopt, true});
  }
  std::sort(all.begin(), all.end(), [](const Refill& a, const Refill& b) { return a.at < b.at; });
  return all;
}

template <typename Of>
void column(JsonText& json, std::string_view name, const Days& days, Of of) {
  json.key(name).open('[');
  for (const auto& day : days) json.put(of(day.row));
  json.close(']');
}

void put_readings(JsonText& json, const std::vector<Reading>& readings) {
  std::vector<ThinPoint> points;
  for (const Reading& reading : readings) points.push_back({ms_since_1970(reading.at), reading.level_pct, false});
  const auto kept = thin(points, readings_told);
  json.key("readings").open('{').key("at_ms").open('[');
  for (const std::size_t i : kept) json.put(readings[i].at);
  json.close(']').key("level_pct").open('[');
  for (const std::size_t i : kept) json.put(Rounded{readings[i].level_pct, 2});
  json.close(']').close('}');
}

Answer days_csv(const StationId& station, const Days& days) {
  std::string out = "date,site,station,level_pct,use_pct_per_day,life_days,life_days_low,life_days_high\r\n";
  for (const auto& [id, day] : days) {
    append_csv(out, rfc3339_date(day.date));
    append_csv(out, station.site);
    append_csv(out, station.station);
    append_csv(out, day.level_pct, 2);
    append_csv(out, day.use_pct_per_day, 4);
    append_csv(out, day.life_days, 2);
    append_csv(out, day.life_days_low, 2);
    append_csv(out, day.life_days_high, 2, true);
  }
  return csv_answer(std::move(out), "reservoir.csv");
}

// The end of the day that a row describes.
Time end_of(const ReservoirDay& day) { return day.date + std::chrono::hours{24}; }

std::optional<Time> after_days(Time from, const std::optional<double>& days) {
  if (!days || !std::isfinite(*days) || *days > 36'500) return std::nullopt;
  return later_by_days(from, *days);
}

// ---- the refill round

struct Visit {
  const FleetRow* row = nullptr;
  std::optional<double> use_pct_per_day, life, low, high, kg, litres;
  std::optional<Time> by;
  std::optional<Urgency> urgency;
  std::string why;
};

bool about_the_reservoir(const WarningView& w) { return w.last.condition == Condition::reservoir_low || w.last.condition == Condition::short_reservoir_life; }

Time midnight(Time time) { return time_from_ms(ms_since_1970(time) / 86'400'000 * 86'400'000); }

class Round {
 public:
  Round(House& house, Reader& reader, int days, std::optional<std::string> site)
      : house_(house), reader_(reader), days_(days), site_(std::move(site)), fleet_(house.fleet.now()), configured_(house.parts.configured()), now_(house.parts.wall()) {}

  Or<std::vector<Visit>> visits() {
    const auto open = open_warnings(reader_);
    if (!open) return of_trouble(open.error());
    std::map<StationId, const WarningView*> low;
    for (const WarningView& w : *open) {
      if (!w.open || !about_the_reservoir(w)) continue;
      const WarningView*& worst = low[w.last.station];
      if (!worst || worse(w, *worst)) worst = &w;
    }
    std::vector<Visit> all;
    for (const FleetRow& row : fleet_->rows) {
      if ((site_ && row.station.site != *site_) || row.state == StationState::out_of_service) continue;
      if (!row.life_days) ++unknown_life;
      const auto warning = low.find(row.station);
      auto visit = visit_to(row, warning == low.end() ? nullptr : warning->second);
      if (!visit) return tl::unexpected(visit.error());
      if (*visit) all.push_back(std::move(**visit));
    }
    std::sort(all.begin(), all.end(), [](const Visit& a, const Visit& b) {
      return std::tie(a.row->station.site, a.by, a.row->station.station) < std::tie(b.row->station.site, b.by, b.row->station.station);
    });
    return all;
  }

  [[nodiscard]] Time now() const { return now_; }
  [[nodiscard]] Time as_of() const { return fleet_->as_of; }
  int unknown_life = 0;

 private:
  // The figures of a day describe its end; what has been used since is taken off.
  Or<std::optional<Visit>> visit_to(const FleetRow& row, const WarningView* warning) {
    const bool soon = row.life_days_low ? *row.life_days_low - 1 < days_ : row.life_days && *row.life_days < days_;
    if (!soon && !warning) return std::optional<Visit>{};
    Visit visit;
    visit.row = &row;
    const auto days = reader_.reservoir_days_between(row.station, {now_ - std::chrono::hours{24 * 8}, now_ + std::chrono::hours{48}}, days_read_max);
    if (!days) return of_trouble(days.error());
    double since = 0;
    if (!days->empty()) {
      const ReservoirDay& day = days->back().row;
      since = std::max(0.0, days_between(end_of(day), now_));
      visit.use_pct_per_day = day.use_pct_per_day;
    }
    const auto less = [&](const std::optional<double>& life) { return life ? std::optional(std::max(0.0, *life - since)) : std::nullopt; };
    visit.life = less(row.life_days);
    visit.low = less(row.life_days_low);
    visit.high = less(row.life_days_high);
    const auto early = visit.low ? visit.low : visit.life;
    if (early && *early <= days_) visit.by = midnight(later_by_days(now_, *early));
    else if (!warning) return std::optional<Visit>{};
    if (visit.by) visit.by = std::max(*visit.by, midnight(now_));
    if (warning) {
      visit.urgency = warning->last.urgency;
      visit.why = rules::words_of(warning->last.condition);
    } else {
      visit.why = "reservoir life within " + std::to_string(days_) + " days";
    }
    add_amount(visit, row);
    return std::optional{visit};
  }

  // To full, on the day of the visit: what is missing now and what is used until then.
  void add_amount(Visit& visit, const FleetRow& row) const {
    const auto found = configured_->find(row.station);
    if (found == configured_->end() || !found->second.design.reservoir_kg || !row.level_pct) return;
    const double until = visit.by ? std::max(0.0, days_between(now_, *visit.by)) : 0;
    const double level = std::max(0.0, *row.level_pct - visit.use_pct_per_day.value_or(0) * until);
    visit.kg = std::max(0.0, (100 - level) / 100 * *found->second.design.reservoir_kg);
    if (const auto density = found->second.design.grease_density_kg_l; density && *density > 0) visit.litres = *visit.kg / *density;
  }

  House& house_;
  Reader& reader_;
  const int days_;
  const std::optional<std::string> site_;
  const std::shared_ptr<const FleetNow> fleet_;
  const std::shared_ptr<const Configured> configured_;
  const Time now_;
};

Answer round_csv(const std::vector<Visit>& visits) {
  std::string out = "site,visit_by,station,level_pct,use_pct_per_day,life_days,life_days_low,life_days_high,kg,litres,urgency,why\r\n";
  for (const Visit& v : visits) {
    append_csv(out, v.row->station.site);
    append_csv(out, v.by ? rfc3339_date(*v.by) : std::string{});
    append_csv(out, v.row->station.station);
    append_csv(out, v.row->level_pct, 1);
    append_csv(out, v.use_pct_per_day, 4);
    append_csv(out, v.life, 1);
    append_csv(out, v.low, 1);
    append_csv(out, v.high, 1);
    append_csv(out, v.kg, 1);
    append_csv(out, v.litres, 1);
    append_csv(out, v.urgency ? name_of(*v.urgency) : std::string_view{});
    append_csv(out, v.why, true);
  }
  return csv_answer(std::move(out), "refill-round.csv");
}

void put(JsonText& json, const Visit& v) {
  json.open('{').put("site", v.row->station.site).put("station", v.row->station.station).put("level_pct", Rounded{v.row->level_pct, 1});
  json.put("use_pct_per_day", Rounded{v.use_pct_per_day, 4}).put("life_days", Rounded{v.life, 1}).put("life_days_low", Rounded{v.low, 1});
  json.put("life_days_high", Rounded{v.high, 1}).put("visit_by_ms", v.by).put("kg", Rounded{v.kg, 1}).put("litres", Rounded{v.litres, 1});
  json.key("urgency");
  if (v.urgency) json.put(name_of(*v.urgency));
  else json.null();
  json.put("why", v.why).close('}');
}

}  // namespace

Or<Answer> station_reservoir(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"from_ms", "to_ms", "format"}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto span = span_of(house, request, strip_days);
  if (!span) return tl::unexpected(span.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  const auto days = reader->reservoir_days_between(*station, {span->from, span->to}, days_read_max);
  if (!days) return of_trouble(days.error());
  if (*format == "csv") return days_csv(*station, *days);
  const auto turns = turns_of(*reader, *station, span->from, span->to);
  if (!turns) return of_trouble(turns.error());
  const auto notes = reader->service_notes_between(*station, {span->from, span->to}, notes_told_max);
  if (!notes) return of_trouble(notes.error());
  std::vector<Reading> readings;
  for (const auto& turn : *turns)
    if (turn.row.half_cycle.level_pct) readings.push_back({turn.row.half_cycle.pump_start, *turn.row.half_cycle.level_pct});
  const auto configured = house.parts.configured();
  const auto found = configured->find(*station);
  const StationDesign design = found == configured->end() ? StationDesign{} : found->second.design;

  JsonText json;
  json.open('{').put("as_of_ms", house.fleet.now()->as_of);
  column(json, "date_ms", *days, [](const ReservoirDay& d) { return d.date; });
  column(json, "level_pct", *days, [](const ReservoirDay& d) { return Rounded{d.level_pct, 2}; });
  column(json, "use_pct_per_day", *days, [](const ReservoirDay& d) { return Rounded{d.use_pct_per_day, 4}; });
  column(json, "life_days", *days, [](const ReservoirDay& d) { return Rounded{d.life_days, 2}; });
  column(json, "life_days_low", *days, [](const ReservoirDay& d) { return Rounded{d.life_days_low, 2}; });
  column(json, "life_days_high", *days, [](const ReservoirDay& d) { return Rounded{d.life_days_high, 2}; });
  put_readings(json, readings);
  json.key("refills").open('[');
  for (const Refill& refill : refills_of(readings, *notes))
    json.open('{').put("at_ms", refill.at).put("from_pct", Rounded{refill.from_pct, 1}).put("to_pct", Rounded{refill.to_pct, 1}).put("noted", refill.noted).close('}');
  json.close(']');
  const ReservoirDay last = days->empty() ? ReservoirDay{} : days->back().row;
  const Time from = end_of(last);
  json.put("empty_at_ms", after_days(from, last.life_days)).put("empty_at_earliest_ms", after_days(from, last.life_days_low));
  json.put("empty_at_latest_ms", after_days(from, last.life_days_high)).put("low_pct", Rounded{design.low_pct, 2}).put("empty_pct", Rounded{design.empty_pct, 2});
  json.put("reservoir_kg", Rounded{design.reservoir_kg, 2}).put("grease_density_kg_l", Rounded{design.grease_density_kg_l, 3}).close('}');
  return json_answer(json);
}

Or<Answer> refill_round(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"days", "site", "format"}); !known) return tl::unexpected(known.error());
  const auto days = whole_number(request.query, "days", 1, 60, 7);
  if (!days) return tl::unexpected(days.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  const auto site = request.query.find("site");
  Round round(house, *reader, static_cast<int>(*days), site == request.query.end() ? std::nullopt : std::optional(site->second));
  const auto visits = round.visits();
  if (!visits) return tl::unexpected(visits.error());
  if (*format == "csv") return round_csv(*visits);
  double kg = 0;
  double litres = 0;
  int unknown = 0;
  JsonText json;
  json.open('{').put("now_ms", round.now()).put("as_of_ms", round.as_of()).put("days", *days).key("visits").open('[');
  for (const Visit& visit : *visits) {
    put(json, visit);
    kg += visit.kg.value_or(0);
    litres += visit.litres.value_or(0);
    if (!visit.kg) ++unknown;
  }
  json.close(']').put("kg", Rounded{kg, 1}).put("litres", Rounded{litres, 1}).put("unknown_amount", unknown).put("unknown_life", round.unknown_life).close('}');
  return json_answer(json);
}

}  // namespace driftline::web
