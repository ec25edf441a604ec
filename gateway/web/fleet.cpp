#include "gateway/web/fleet.h"

#include <algorithm>
#include <cmath>
#include <tuple>
#include <utility>

#include "gateway/web/events.h"
#include "gateway/web/ids_by_time.h"
#include "gateway/web/limits.h"

namespace driftline::web {
namespace {

constexpr std::int64_t day_ms = 86'400'000;
// What has not been heard for so long is silent, whatever the rules had time to say of it.
constexpr std::chrono::hours silent_anyway{24};

Time midnight_before(Time time, int days) {
  return time_from_ms((ms_since_1970(time) / day_ms - days) * day_ms);
}

bool hidden(const std::string& life) { return life == "shelved" || life == "suppressed" || life == "out-of-service"; }

auto rank(const FleetRow& row) {
  const bool quiet = hidden(row.life);
  const int urgency = row.urgency ? (quiet ? 1 : 2 + static_cast<int>(*row.urgency)) : 0;
  const int state = row.state == StationState::not_judged ? 2 : row.state == StationState::silent || row.state == StationState::never_heard ? 1 : 0;
  const std::int64_t limit = row.forecast.limit_at ? ms_since_1970(*row.forecast.limit_at) : INT64_MAX;
  return std::make_tuple(-urgency, limit, row.urgency ? ms_since_1970(row.since) : 0, -state, std::cref(row.station));
}

// As people read them: a row is told anew when that changes, not with each drop.
std::optional<double> in_steps(const std::optional<double>& value, double step) {
  return value ? std::optional(step * std::round(*value / step)) : std::nullopt;
}
std::optional<double> days_in_steps(const std::optional<double>& days) { return in_steps(days, days && *days < 3 ? 0.1 : 1); }

void put_reservoir(FleetRow& row, const ReservoirDay& day) {
  row.level_pct = in_steps(day.level_pct, 1);
  row.life_days = days_in_steps(day.life_days);
  row.life_days_low = days_in_steps(day.life_days_low);
  row.life_days_high = days_in_steps(day.life_days_high);
}

std::optional<double> days_left(Time now, const std::optional<Time>& then) {
  if (!then) return std::nullopt;
  return std::max(0.0, days_between(now, *then));
}

}  // namespace

const std::vector<std::string_view>& state_names() {
  static const std::vector<std::string_view> all{"heard", "silent", "never-heard", "out-of-service", "not-judged"};
  return all;
}

bool FleetRow::same_but_heard(const FleetRow& o) const {
  return lines == o.lines && state == o.state && urgency == o.urgency && condition == o.condition && line == o.line && since == o.since &&
         life == o.life && forecast == o.forecast && cause == o.cause && open == o.open && unanswered == o.unanswered &&
         level_pct == o.level_pct && life_days == o.life_days && life_days_low == o.life_days_low && life_days_high == o.life_days_high;
}

Fleet::Fleet(const WebParts& parts, Tell tell, Watched watched)
    : parts_(parts), tell_(std::move(tell)), watched_(std::move(watched)), now_(std::make_shared<FleetNow>()) {}

Fleet::~Fleet() { stop(); }

void Fleet::start() {
  if (!thread_.joinable()) thread_ = std::thread([this] { run(); });
}

void Fleet::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void Fleet::nudge() {
  const std::lock_guard guard(mutex_);
  nudged_ = true;
}

void Fleet::look_again() {
  {
    const std::lock_guard guard(mutex_);
    nudged_ = acted_ = true;
  }
  changed_.notify_all();
}

std::shared_ptr<const FleetNow> Fleet::now() const {
  const std::lock_guard guard(mutex_);
  return now_;
}

void Fleet::run() {
  std::unique_ptr<history::Reader> reader;
  for (;;) {
    ++pulse_;
    if (!reader) {
      auto opened = history::Reader::open(parts_.history->file());
      if (opened) reader = std::move(*opened);
      else events::history_unreadable(history::name_of(opened.error().cause), opened.error().text);
    }
    try {
      if (reader) refresh(*reader);
    } catch (const std::exception& thrown) {
      events::failed("the list of stations", thrown.what());
    }
    std::unique_lock lock(mutex_);
    if (stopping_) return;
    const bool behind = now_->gateway.behind > behind_messages;
    changed_.wait_for(lock, behind ? fleet_every_behind : fleet_every, [this] { return stopping_ || acted_; });
    if (stopping_) return;
  }
}

void Fleet::refresh(history::Reader& reader) {
  {
    const std::lock_guard guard(mutex_);
    nudged_ = acted_ = false;
  }
  FleetNews news;
  const bool read = (begun_ || find_beginning(reader)) && read_reservoirs(reader) && read_notes(reader, news) && read_warnings(reader, news) &&
                    read_turns(reader, news);
  if (!read) events::history_unreadable("list", "the list of stations stays as it was");
  compare(news);
  tell_(std::move(news));
}

// Thirty days of turns and three of reservoirs are enough to begin with; ids follow time.
bool Fleet::find_beginning(history::Reader& reader) {
  const auto last = reader.last_ids();
  if (!last) return false;
  std::int64_t last_turn = 0;
  std::int64_t last_day = 0;
  for (const auto& mark : *last) {
    if (mark.feed == history::Feed::half_cycles) last_turn = mark.id;
    if (mark.feed == history::Feed::reservoir_days) last_day = mark.id;
    if (mark.feed == history::Feed::life_changes) life_id_ = mark.id;
  }
  const Time now = parts_.wall();
  const auto turn = id_before(last_turn, midnight_before(now, strip_days), [&](std::int64_t id) { return reader.turn_gists_after(id, 1); },
                              [](const history::TurnGist& row) { return row.pump_start; });
  const auto day = id_before(last_day, midnight_before(now, 3), [&](std::int64_t id) { return reader.reservoir_days_after(id, 1); },
                             [](const ReservoirDay& row) { return row.date; });
  if (!turn || !day) return false;
  turn_id_ = *turn;
  reservoir_id_ = *day;
  last_turn_id_at_start_ = last_turn;
  begun_ = true;
  return true;
}

bool Fleet::read_turns(history::Reader& reader, FleetNews& news) {
  const auto watched = watched_();
  for (const auto until = parts_.steady() + fleet_every;;) {
    const auto rows = reader.turn_gists_after(turn_id_, strip_rows_slice);
    if (!rows) return false;
    const bool starting = turn_id_ < last_turn_id_at_start_;
    {
      const std::lock_guard guard(mutex_);
      for (const auto& row : *rows) strips_.take(row.row);
      if (static_cast<int>(rows->size()) < strip_rows_slice) complete_ = true;
    }
    if (!starting)
      for (const auto& row : *rows)
        if (watched.contains(row.row.station))
          if (auto whole = reader.half_cycles_after(row.id - 1, 1); whole && !whole->empty()) news.turns.push_back(std::move(whole->front()));
    if (!rows->empty()) turn_id_ = rows->back().id;
    if (static_cast<int>(rows->size()) < strip_rows_slice || parts_.steady() > until) return true;
  }
}

bool Fleet::read_reservoirs(history::Reader& reader) {
  for (;;) {
    auto rows = reader.reservoir_days_after(reservoir_id_, strip_rows_slice);
    if (!rows) return false;
    for (auto& row : *rows) {
      reservoir_id_ = row.id;
      reservoirs_[row.row.station] = std::move(row.row);
    }
    if (static_cast<int>(rows->size()) < strip_rows_slice) return true;
  }
}

bool Fleet::read_notes(history::Reader& reader, FleetNews& news) {
  const auto watched = watched_();
  const bool starting = !std::exchange(notes_begun_, true);
  for (;;) {
    auto rows = reader.service_notes_after(note_id_, strip_rows_slice);
    if (!rows) return false;
    for (auto& row : *rows) {
      note_id_ = row.id;
      const ServiceNote& note = row.row.note;
      if (!note.line && note.kind == ServiceKind::out_of_service) out_of_service_[row.row.station] = true;
      if (!note.line && note.kind == ServiceKind::back_in_service) out_of_service_[row.row.station] = false;
      if (!starting && watched.contains(row.row.station)) news.notes.push_back(std::move(row));
    }
    if (static_cast<int>(rows->size()) < strip_rows_slice) return true;
  }
}

bool Fleet::read_warnings(history::Reader& reader, FleetNews& news) {
  const auto rows = reader.life_changes_after(life_id_, warnings_read_max);
  if (!rows) return false;
  auto open = open_warnings(reader);
  if (!open) return false;
  for (const auto& [id, row] : *rows) {
    life_id_ = id;
    const WarningKey key{row.warning.station, row.warning.line, row.warning.condition};
    news.warnings.push_back({key, row.event, row.after, row.urgency, subject_of(key, *open), row.who, row.time});
  }
  warnings_ = std::move(*open);
  return true;
}

// Of what has just ended the list before still knows the words.
std::string Fleet::subject_of(const WarningKey& key, const std::vector<WarningView>& open) const {
  for (const auto* list : {&open, &warnings_})
    for (const WarningView& view : *list)
      if (key_of(view.last) == key) return view.last.text.substr(0, view.last.text.find('\n'));
  return {};
}

std::shared_ptr<FleetNow> Fleet::made() const {
  auto now = std::make_shared<FleetNow>();
  const auto plant = parts_.plant();
  now->gateway = parts_.gateway();
  now->as_of = plant ? plant->as_of : parts_.wall();
  std::map<StationId, FleetRow> rows;
  std::set<StationId> set_aside;
  const auto row_of = [&](const StationId& id) -> FleetRow& {
    FleetRow& row = rows[id];
    row.station = id;
    return row;
  };
  if (plant)
    for (const StationHeard& heard : plant->stations) {
      row_of(heard.station).heard = heard.last_received;
      if (heard.set_aside) set_aside.insert(heard.station);
    }
  for (const auto& [id, context] : *parts_.configured())
    row_of(id).lines = context.design.settings.lines.value_or(static_cast<int>(context.design.lines.size()));
  {
    const std::lock_guard guard(mutex_);
    strips_.each_station([&](const StationId& id) { row_of(id); });
    for (auto& [id, row] : rows)
      if (const auto known = strips_.station_now(id)) {
        row.lines = std::max(row.lines, known->lines);
        row.heard = std::max(row.heard.value_or(known->last_turn), known->last_turn);
      }
  }
  for (const auto& [id, day] : reservoirs_) put_reservoir(row_of(id), day);
  if (plant)
    for (const StationHeard& heard : plant->stations)
      if (knows_life(heard.reservoir)) put_reservoir(row_of(heard.station), *heard.reservoir);
  std::vector<const WarningView*> sorted;
  for (const WarningView& warning : warnings_) sorted.push_back(&warning);
  std::sort(sorted.begin(), sorted.end(), [](const auto* a, const auto* b) { return worse(*a, *b); });
  std::set<StationId> silent;
  Head& head = now->head;
  for (const WarningView* w : sorted) {
    if (!w->open) continue;
    FleetRow& row = row_of(w->last.station);
    ++row.open;
    if (w->last.condition == Condition::station_silent) silent.insert(w->last.station);
    if (!w->answered) {
      ++row.unanswered;
      ++head.unanswered;
      if (!head.oldest || w->raised < head.oldest_since) {
        head.oldest = key_of(w->last);
        head.oldest_since = w->raised;
      }
    }
    if (row.urgency) continue;  // the worst came first
    row.urgency = w->last.urgency;
    row.condition = w->last.condition;
    row.line = w->last.line;
    row.since = w->raised;
    row.life = w->life;
    row.forecast = w->last.forecast;
    if (!w->last.causes.empty()) row.cause = w->last.causes.front().cause;
  }
  for (auto& [id, row] : rows) {
    const auto out = out_of_service_.find(id);
    if (set_aside.contains(id)) row.state = StationState::not_judged;
    else if (out != out_of_service_.end() && out->second) row.state = StationState::out_of_service;
    else if (silent.contains(id)) row.state = StationState::silent;
    else if (!row.heard) row.state = StationState::never_heard;
    else if (now->as_of - *row.heard > silent_anyway) row.state = StationState::silent;
    ++head.watched;
    switch (row.state) {
      case StationState::not_judged: ++head.not_judged; break;
      case StationState::out_of_service: ++head.out_of_service; break;
      case StationState::silent:
      case StationState::never_heard: ++head.silent; break;
      case StationState::heard:
        if (!row.urgency) ++head.well;
        else if (hidden(row.life)) ++head.notice;
        else ++(*row.urgency == Urgency::act ? head.act : *row.urgency == Urgency::plan ? head.plan : head.notice);
    }
    now->rows.push_back(std::move(row));
  }
  std::sort(now->rows.begin(), now->rows.end(), [](const FleetRow& a, const FleetRow& b) { return rank(a) < rank(b); });
  for (std::size_t i = 0; i < now->rows.size(); ++i) now->place[now->rows[i].station] = i;
  return now;
}

// What is news for those who have the list before, and the list for those who ask from now on.
void Fleet::compare(FleetNews& news) {
  const auto now = made();
  for (const auto& [id, place] : now->place)
    if (sites_.empty() || std::find(sites_.begin(), sites_.end(), id.site) == sites_.end()) sites_.push_back(id.site);
  now->sites = sites_;
  for (std::size_t i = 0; i < now->rows.size(); ++i) {
    const FleetRow& row = now->rows[i];
    const auto before = told_.find(row.station);
    if (before == told_.end() || !before->second.same_but_heard(row)) news.changed.push_back(i);
  }
  const bool changed = !news.changed.empty() || !(now_->head == now->head);
  if (changed) ++revision_;
  now->revision = revision_;
  news.too_many = news.changed.size() > fleet_rows_told_max;
  for (const std::size_t i : news.changed) told_[now->rows[i].station] = now->rows[i];
  if (news.too_many) news.changed.clear();
  news.now = now;
  const std::lock_guard guard(mutex_);
  now_ = now;
}

Fleet::SomeStrips Fleet::strips(const std::vector<StationId>& stations) const {
  SomeStrips some;
  const std::lock_guard guard(mutex_);
  some.shape = {midnight_before(parts_.wall(), strip_days - 1), complete_};
  for (const StationId& id : stations) some.of.push_back(strips_.of(id, some.shape.from));
  return some;
}

std::optional<Strips::LineNow> Fleet::line_now(const StationId& station, int line) const {
  const std::lock_guard guard(mutex_);
  return strips_.line_now(station, line);
}

bool Fleet::knows(const StationId& station) const {
  const auto all = now();
  return all->place.contains(station);
}

std::vector<std::size_t> all_places(const FleetNow& now) {
  std::vector<std::size_t> places(now.rows.size());
  for (std::size_t i = 0; i < places.size(); ++i) places[i] = i;
  return places;
}

void put(JsonText& json, const Head& head) {
  json.key("head").open('{').put("watched", head.watched).put("silent", head.silent).put("act", head.act).put("plan", head.plan);
  json.put("notice", head.notice).put("well", head.well).put("out_of_service", head.out_of_service).put("not_judged", head.not_judged);
  json.put("unanswered", head.unanswered).key("oldest_unanswered");
  if (head.oldest) json.open('{').put("key", text_of(*head.oldest)).put("since_ms", head.oldest_since).close('}');
  else json.null();
  json.close('}');
}

void put_feed(JsonText& json, const GatewayNow& gateway) {
  json.key("feed").open('{').put("broker", gateway.broker).put("heard_ms", gateway.heard).put("behind", gateway.behind).close('}');
}

void put_columns(JsonText& json, const FleetNow& now, const std::vector<std::size_t>& places) {
  std::map<std::string_view, int> site_numbers;
  for (std::size_t i = 0; i < now.sites.size(); ++i) site_numbers[now.sites[i]] = static_cast<int>(i);
  std::map<std::string_view, int> life_numbers;
  for (std::size_t i = 0; i < life_names().size(); ++i) life_numbers[life_names()[i]] = static_cast<int>(i);
  const auto column = [&](std::string_view name, auto value) {
    json.key(name).open('[');
    for (const std::size_t place : places) json.put(value(now.rows[place]));
    json.close(']');
  };
  const auto seconds_ago = [&](Time then) { return static_cast<std::int64_t>((ms_since_1970(now.as_of) - ms_since_1970(then)) / 1000); };
  // Of the worst warning; empty where nothing is open.
  const auto of_warning = [](auto value) {
    return [value](const FleetRow& row) -> std::optional<decltype(value(row))> {
      if (!row.urgency) return std::nullopt;
      return value(row);
    };
  };
  json.key("columns").open('{');
  column("site", [&](const FleetRow& row) { return site_numbers[row.station.site]; });
  column("station", [](const FleetRow& row) { return std::string_view(row.station.station); });
  column("lines", [](const FleetRow& row) { return row.lines; });
  column("state", [](const FleetRow& row) { return static_cast<int>(row.state); });
  column("heard_s", [&](const FleetRow& row) { return row.heard ? std::optional(std::max<std::int64_t>(0, seconds_ago(*row.heard))) : std::nullopt; });
  column("urgency", of_warning([](const FleetRow& row) { return static_cast<int>(*row.urgency); }));
  column("condition", of_warning([](const FleetRow& row) { return static_cast<int>(row.condition); }));
  column("line", [](const FleetRow& row) { return row.line; });
  column("since_s", of_warning([&](const FleetRow& row) { return seconds_ago(row.since); }));
  column("life", of_warning([&](const FleetRow& row) { return life_numbers[row.life]; }));
  column("limit_days", [&](const FleetRow& row) { return Rounded{days_left(now.as_of, row.forecast.limit_at), 1}; });
  column("limit_days_earliest", [&](const FleetRow& row) { return Rounded{days_left(now.as_of, row.forecast.limit_at_earliest), 1}; });
  column("limit_days_latest", [&](const FleetRow& row) { return Rounded{days_left(now.as_of, row.forecast.limit_at_latest), 1}; });
  column("cause", [](const FleetRow& row) { return row.cause ? std::optional(static_cast<int>(*row.cause)) : std::nullopt; });
  column("open", [](const FleetRow& row) { return row.open; });
  column("unanswered", [](const FleetRow& row) { return row.unanswered; });
  column("level_pct", [](const FleetRow& row) { return Rounded{row.level_pct, 1}; });
  column("life_days", [](const FleetRow& row) { return Rounded{row.life_days, 1}; });
  column("life_days_low", [](const FleetRow& row) { return Rounded{row.life_days_low, 1}; });
  column("life_days_high", [](const FleetRow& row) { return Rounded{row.life_days_high, 1}; });
  json.close('}');
}

void put_strip(JsonText& json, const std::vector<StripSlots>& lines) {
  json.open('[');
  for (const StripSlots& slots : lines) {
    json.open('[');
    for (const auto& slot : slots) json.put(slot);
    json.close(']');
  }
  json.close(']');
}

void put_shape(JsonText& json, const Fleet::StripShape& shape) {
  json.key("strip").open('{').put("from_ms", shape.from).put("slot_s", 86400).put("slots", strip_days).put("complete", shape.complete).close('}');
}

}  // namespace driftline::web
