#include "gateway/web/warning_view.h"

#include <algorithm>
#include <map>

#include "gateway/web/ids_by_time.h"
#include "gateway/web/limits.h"
#include "rules/records/names.h"
#include "rules/warnings/text.h"

namespace driftline::web {
namespace {

std::string place_of(std::optional<int> line) { return line ? "line-" + std::to_string(*line) : "station"; }

std::string subject_of(const std::string& text) { return text.substr(0, text.find('\n')); }

void put_causes(JsonText& json, const std::vector<WeightedCause>& causes) {
  json.key("causes").open('[');
  for (const WeightedCause& one : causes) {
    json.open('{').put("cause", name_of(one.cause)).put("weight", Rounded{one.weight, 3}).put("words", rules::words_of(one.cause));
    json.put("first_check", rules::first_check_of(one.cause)).put("bring", rules::what_to_bring_for(one.cause)).close('}');
  }
  json.close(']');
}

void put_shift(JsonText& json, const std::optional<FigureShift>& shift) {
  json.key("figure");
  if (!shift) {
    json.null();
    return;
  }
  const auto words = rules::words_of_figure(shift->figure);
  json.open('{').put("figure", shift->figure).put("words", words.words).put("unit", words.unit);
  json.put("value", Rounded{shift->value, 3}).put("usual", Rounded{shift->usual, 3}).put("spread", Rounded{shift->spread, 3});
  json.put("limit", Rounded{shift->limit, 3}).put("since_ms", shift->since).put("turns", shift->turns).close('}');
}

void put_evidence(JsonText& json, const std::vector<EvidenceItem>& evidence) {
  json.key("evidence").open('[');
  for (const EvidenceItem& item : evidence) {
    json.open('{').put("text", item.text).put("figure", item.figure).put("value", Rounded{item.value, 3}).put("usual", Rounded{item.usual, 3});
    json.put("since_ms", item.since).close('}');
  }
  json.close(']');
}

void put_acts(JsonText& json, const std::vector<ActView>& acts) {
  json.key("acts").open('[');
  for (const ActView& act : acts) {
    json.open('{').put("act", act.act).put("at_ms", act.at).put("by", act.by).put("via", act.via).put("note", act.note);
    json.put("life", act.life).put("until_ms", act.until).close('}');
  }
  json.close(']');
}

}  // namespace

std::string text_of(const WarningKey& key) {
  return key.station.site + "/" + key.station.station + "/" + place_of(key.line) + "/" + std::string(name_of(key.condition));
}

WarningKey key_of(const WarningChange& change) { return {change.station, change.line, change.condition}; }

std::optional<std::optional<int>> line_of_place(std::string_view place) {
  if (place == "station") return std::optional<int>{};
  if (place.size() == 6 && place.starts_with("line-") && place[5] >= '1' && place[5] <= '8') return std::optional<int>{place[5] - '0'};
  return std::nullopt;
}

const std::vector<std::string_view>& life_names() {
  static const std::vector<std::string_view> all = [] {
    std::vector<std::string_view> names;
    for (std::size_t i = 0; i < rules::life_state_count; ++i) names.push_back(name_of(static_cast<rules::LifeState>(i)));
    return names;
  }();
  return all;
}

namespace {

// What people have not yet finished with.
WarningView view_of(const history::LifeRow& row) {
  const rules::Life& life = row.life;
  WarningView view;
  view.last = row.last;
  view.open = life.active;
  view.life = name_of(rules::state_of(life));
  view.answered = life.acknowledged || life.shelf || !life.out_of_service_by.empty() || rules::state_of(life) == rules::LifeState::suppressed;
  view.owner = life.owner;
  if (life.shelf) view.shelved_until = life.shelf->until;
  view.raised = life.raised;
  if (!life.active && row.last.change == Change::cleared) view.cleared = row.last.time;
  return view;
}

WarningView ended(const WarningChange& change, Time raised) {
  WarningView view;
  view.last = change;
  view.open = false;
  view.life = "normal";
  view.answered = true;
  view.raised = raised;
  view.cleared = change.time;
  return view;
}

}  // namespace

tl::expected<std::vector<WarningView>, history::Trouble> open_warnings(history::Reader& reader) {
  const auto rows = reader.lives();
  if (!rows) return tl::unexpected(rows.error());
  std::vector<WarningView> all;
  for (const auto& row : *rows) all.push_back(view_of(row.row));
  return all;
}

tl::expected<std::vector<WarningView>, history::Trouble> warnings_of(history::Reader& reader, const StationId& station, Time from, Time now) {
  const auto rows = reader.warnings_between(station, {from, now + std::chrono::hours{24 * 366}}, history_rows_max);
  if (!rows) return tl::unexpected(rows.error());
  const auto lives = reader.lives_of(station);
  if (!lives) return tl::unexpected(lives.error());
  std::map<WarningKey, WarningView> by_key;
  std::map<WarningKey, Time> raised;
  for (const auto& [id, row] : *rows) {
    if (row.change == Change::raised) raised[key_of(row)] = row.time;
    if (row.change == Change::cleared) by_key[key_of(row)] = ended(row, raised.contains(key_of(row)) ? raised[key_of(row)] : row.time);
  }
  for (const auto& row : *lives) by_key[key_of(row.row.last)] = view_of(row.row);
  std::vector<WarningView> all;
  for (auto& [key, view] : by_key) {
    if (const auto told = add_acts(reader, view); !told) return tl::unexpected(told.error());
    all.push_back(std::move(view));
  }
  std::sort(all.begin(), all.end(), worse);
  return all;
}

tl::expected<std::vector<WarningView>, history::Trouble> all_warnings(history::Reader& reader, Time from) {
  auto all = open_warnings(reader);
  if (!all) return all;
  const auto last = reader.last_ids();
  if (!last) return tl::unexpected(last.error());
  std::int64_t last_id = 0;
  for (const auto& mark : *last)
    if (mark.feed == history::Feed::warnings) last_id = mark.id;
  auto at = id_before(last_id, from, [&](std::int64_t id) { return reader.warnings_after(id, 1); }, [](const WarningChange& row) { return row.time; });
  if (!at) return tl::unexpected(at.error());
  std::map<WarningKey, WarningView> ended_ones;
  std::map<WarningKey, Time> raised;
  for (;;) {
    const auto rows = reader.warnings_after(*at, history_rows_max);
    if (!rows) return tl::unexpected(rows.error());
    for (const auto& [id, row] : *rows) {
      *at = id;
      if (row.change == Change::raised) raised[key_of(row)] = row.time;
      if (row.change == Change::cleared) ended_ones[key_of(row)] = ended(row, raised.contains(key_of(row)) ? raised[key_of(row)] : row.time);
    }
    if (static_cast<int>(rows->size()) < history_rows_max) break;
  }
  for (const WarningView& view : *all) ended_ones.erase(key_of(view.last));
  for (auto& [key, view] : ended_ones) all->push_back(std::move(view));
  return all;
}

tl::expected<void, history::Trouble> add_acts(history::Reader& reader, WarningView& warning) {
  const auto rows = reader.latest_life_changes({warning.last.station, warning.last.line, warning.last.condition}, false, acts_told_max);
  if (!rows) return tl::unexpected(rows.error());
  warning.acts.clear();
  for (auto row = rows->rbegin(); row != rows->rend(); ++row)
    warning.acts.push_back({std::string(name_of(row->row.event)), row->row.time, row->row.who, row->row.via, row->row.why, std::string(name_of(row->row.after)), row->row.until});
  return {};
}

bool worse(const WarningView& a, const WarningView& b) {
  if (a.open != b.open) return a.open;
  const bool a_waits = a.life != "normal";
  if (!a.open && a_waits != (b.life != "normal")) return a_waits;
  const auto hidden = [](const WarningView& w) { return w.life == "shelved" || w.life == "suppressed" || w.life == "out-of-service"; };
  if (hidden(a) != hidden(b)) return !hidden(a);
  if (!a.open) return a.cleared > b.cleared;
  if (a.last.urgency != b.last.urgency) return a.last.urgency > b.last.urgency;
  const auto left = [](const WarningView& w) { return w.last.forecast.limit_at.value_or(Time::max()); };
  if (left(a) != left(b)) return left(a) < left(b);
  if (a.raised != b.raised) return a.raised < b.raised;
  return key_of(a.last) < key_of(b.last);
}

void put(JsonText& json, const WarningView& w) {
  json.open('{').put("key", text_of(key_of(w.last))).put("site", w.last.station.site).put("station", w.last.station.station);
  json.put("line", w.last.line).put("condition", name_of(w.last.condition)).put("words", rules::words_of(w.last.condition));
  json.put("urgency", name_of(w.last.urgency)).put("life", w.life);
  w.owner.empty() ? json.key("owner").null() : json.put("owner", w.owner);
  json.put("shelved_until_ms", w.shelved_until).put("raised_ms", w.raised).put("changed_ms", w.last.time).put("cleared_ms", w.cleared);
  json.put("subject", subject_of(w.last.text)).put("text", w.last.text).put("caution", rules::caution_of(w.last.condition));
  put_causes(json, w.last.causes);
  put_evidence(json, w.last.evidence);
  json.key("forecast").open('{').put("limit_at_ms", w.last.forecast.limit_at);
  json.put("limit_at_earliest_ms", w.last.forecast.limit_at_earliest).put("limit_at_latest_ms", w.last.forecast.limit_at_latest).close('}');
  put_shift(json, w.last.shift);
  put_acts(json, w.acts);
  json.close('}');
}

}  // namespace driftline::web
