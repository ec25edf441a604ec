#include "gateway/web/warning_view.h"

#include <algorithm>
#include <map>

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
  static const std::vector<std::string_view> all{"normal", "unacknowledged", "acknowledged", "returned-unacknowledged", "latched-unacknowledged",
                                                 "latched-acknowledged", "shelved", "suppressed", "out-of-service"};
  return all;
}

tl::expected<std::vector<WarningView>, history::Trouble> open_warnings(history::Reader& reader) {
  const auto rows = reader.open_warnings();
  if (!rows) return tl::unexpected(rows.error());
  std::vector<WarningView> all;
  for (const auto& row : *rows) {
    WarningView view;
    view.last = row.row;
    view.raised = row.row.time;
    all.push_back(std::move(view));
  }
  return all;
}

tl::expected<std::vector<WarningView>, history::Trouble> warnings_of(history::Reader& reader, const StationId& station, Time from, Time now) {
  const auto rows = reader.warnings_between(station, {from, now + std::chrono::hours{24 * 366}}, warnings_read_max);
  if (!rows) return tl::unexpected(rows.error());
  std::map<WarningKey, WarningView> by_key;
  for (const auto& [id, row] : *rows) {
    WarningView& view = by_key[key_of(row)];
    if (row.change == Change::raised) {
      view = {};
      view.raised = row.time;
    }
    view.last = row;
    view.open = row.change != Change::cleared;
    if (!view.open) {
      view.cleared = row.time;
      view.life = "normal";
    }
    view.acts.push_back({std::string(name_of(row.change)), row.time, "", "", "", view.life, std::nullopt});
  }
  std::vector<WarningView> all;
  for (auto& [key, view] : by_key) all.push_back(std::move(view));
  std::sort(all.begin(), all.end(), worse);
  return all;
}

tl::expected<std::vector<WarningView>, history::Trouble> all_warnings(history::Reader& reader, Time) { return open_warnings(reader); }

tl::expected<void, history::Trouble> add_acts(history::Reader&, WarningView&) { return {}; }

bool worse(const WarningView& a, const WarningView& b) {
  if (a.open != b.open) return a.open;
  const auto hidden = [](const WarningView& w) { return w.life == "shelved" || w.life == "suppressed" || w.life == "out-of-service"; };
  if (hidden(a) != hidden(b)) return !hidden(a);
  if (!a.open) return a.cleared > b.cleared;
  if (a.last.urgency != b.last.urgency) return a.last.urgency > b.last.urgency;
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
