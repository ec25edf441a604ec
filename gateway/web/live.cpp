#include "gateway/web/live.h"

#include <algorithm>
#include <charconv>

#include "gateway/web/limits.h"
#include "gateway/web/rows_json.h"
#include "gateway/web/sessions.h"
#include "gateway/web/thinning.h"
#include "rules/records/names.h"

namespace driftline::web {
namespace {

constexpr std::chrono::seconds turn_told_every{1};
constexpr double vented_bar = 20;                            // where no residual limit is known
constexpr std::chrono::minutes vent_followed{5};

// Of the newest ones, no more than an answer holds, and no peak lost.
std::vector<const Sample*> told_of(const std::deque<Sample>& samples, std::size_t newest, std::size_t most) {
  std::vector<const Sample*> all;
  std::vector<ThinPoint> points;
  for (std::size_t i = samples.size() - newest; i < samples.size(); ++i) {
    const Sample& sample = samples[i];
    std::optional<double> highest;
    for (int line = 1; line <= sample.pressure.lines; ++line)
      if (const auto bar = sample.pressure.of_line(line)) highest = std::max(highest.value_or(*bar), *bar);
    all.push_back(&sample);
    points.push_back({ms_since_1970(sample.time), highest, false});
  }
  std::vector<const Sample*> told;
  for (const std::size_t i : thin(points, most)) told.push_back(all[i]);
  return told;
}

std::string name_of_station(const StationId& id) { return id.site + "/" + id.station; }

}  // namespace

Bytes event_bytes(std::string_view name, const std::string& id, const std::string& json) {
  std::string text;
  text.reserve(json.size() + name.size() + id.size() + 24);
  if (!id.empty()) text.append("id: ").append(id).append("\n");
  text.append("event: ").append(name).append("\ndata: ").append(json).append("\n\n");
  return std::make_shared<const std::string>(std::move(text));
}

void TurnWatch::take(const Sample& sample) {
  if (newest_ && sample.time < newest_->time) return;  // late: the rules will use it
  if (sample.line) line_ = sample.line;
  if (sample.pump) {
    if (*sample.pump && !pump_.value_or(false)) {
      if (pump_ || !run_since_) run_since_ = sample.time;
      stopped_.reset();
    }
    if (!*sample.pump && pump_.value_or(false)) stopped_ = sample.time;
    pump_ = sample.pump;
  }
  newest_ = sample;
}

void TurnWatch::take(const Seen& seen) {
  for (const Sample& sample : seen.samples) take(sample);
  if (pump_) {
    // Who began to watch in the middle of a run hears of its start this way.
    if (*pump_ && seen.run_since && run_since_ && *seen.run_since < *run_since_) run_since_ = seen.run_since;
    return;
  }
  if (run_since_ && !seen.run_since && newest_) stopped_ = newest_->time;
  if (seen.run_since) {
    run_since_ = seen.run_since;
    stopped_.reset();
  }
  if (seen.run_line) line_ = seen.run_line;
}

std::optional<TurnWatch::Now> TurnWatch::now() const {
  if (!run_since_ || !newest_) return std::nullopt;
  Now now;
  now.line = line_.value_or(1);
  now.started = *run_since_;
  now.newest = newest_->time;
  now.bar = newest_->pressure.of_line(now.line);
  now.venting = stopped_.has_value();
  if (now.venting && (newest_->time - *stopped_ > vent_followed || !now.bar || *now.bar <= vented_bar)) return std::nullopt;
  return now;
}

void put_turn_now(JsonText& json, const TurnWatch::Now& turn, const std::optional<Strips::LineNow>& line) {
  const double elapsed = std::max(0.0, seconds_between(turn.started, turn.newest));
  const std::optional<double> usual = line ? line->usual_s : std::nullopt;
  json.open('{').put("line", turn.line).put("started_ms", turn.started).put("elapsed_s", Rounded{elapsed, 1}).put("bar", Rounded{turn.bar, 2});
  json.put("target_bar", Rounded{line ? line->target_bar : std::nullopt, 2}).put("phase", turn.venting ? "venting" : "pumping");
  json.put("usual_s", Rounded{usual, 1});
  json.put("remaining_s", Rounded{usual && !turn.venting ? std::optional(std::max(0.0, *usual - elapsed)) : std::nullopt, 1}).close('}');
}

Live::Live(const WebParts& parts, Fleet& fleet, Post post, Aside aside)
    : parts_(parts), fleet_(fleet), post_(std::move(post)), aside_(std::move(aside)), life_(random_token().substr(0, 8)) {}

void Live::send(Viewer& viewer, const Bytes& bytes) { viewer.sink->send(bytes); }

std::string Live::hello(bool resumed) const {
  const auto now = fleet_.now();
  JsonText json;
  json.open('{').put("now_ms", parts_.wall()).put("as_of_ms", now->as_of);
  put_feed(json, now->gateway);
  json.put("revision", now->revision).put("resumed", resumed).close('}');
  return json.take();
}

std::string Live::pulse() const {
  const auto now = fleet_.now();
  JsonText json;
  json.open('{').put("now_ms", parts_.wall()).put("as_of_ms", now->as_of);
  put_feed(json, now->gateway);
  json.close('}');
  return json.take();
}

// Sends what the viewer has missed, if all of that is still there.
bool Live::resume(Viewer& viewer) {
  const std::string& id = viewer.wish.last_event_id;
  const auto dash = id.find('-');
  if (dash == std::string::npos || id.substr(0, dash) != life_) return false;
  std::int64_t last = 0;
  const auto [end, failed] = std::from_chars(id.data() + dash + 1, id.data() + id.size(), last);
  if (failed != std::errc{} || end != id.data() + id.size() || last < 0 || last >= next_id_) return false;
  if (last + 1 < (kept_.empty() ? next_id_ : kept_.front().id)) return false;
  std::size_t bytes = 0;
  for (const Event& event : kept_)
    if (event.id > last) bytes += event.bytes->size();
  return bytes < stream_unsent_bytes_max / 2;
}

void Live::join(std::shared_ptr<Sink> sink, const Wish& wish) {
  const auto now = parts_.steady();
  Viewer& viewer = viewers_.emplace_back(Viewer{std::move(sink), wish, now, now, now});
  const bool resumed = resume(viewer);
  // The id stands with `hello` too: a viewer that gets no other event has something to come again with.
  send(viewer, event_bytes("hello", resumed ? std::string{} : life_ + "-" + std::to_string(next_id_ - 1), hello(resumed)));
  if (resumed) {
    const std::int64_t last = std::stoll(wish.last_event_id.substr(wish.last_event_id.find('-') + 1));
    for (const Event& event : kept_)
      if (event.id > last && ((event.fleet && wish.fleet) || (event.station && event.station == wish.station) || (!event.fleet && !event.station)))
        send(viewer, event.bytes);
  }
  if (!wish.station) return;
  bool begins = false;
  {
    const std::lock_guard guard(mutex_);
    begins = !watched_.contains(*wish.station);
    const Watched& watched = watched_[*wish.station];
    if (!watched.samples.empty() && !watched.filling)
      send(viewer, event_bytes("pressure", "", pressure_json(*wish.station, watched, watched.samples.size(), first_samples_max)));
  }
  if (!begins) return;
  watch_what_is_wanted();
  fill(*wish.station);
}

void Live::fill(const StationId& station) {
  if (!parts_.lately || filling_ >= fillings_max) return;
  const bool asked = aside_([this, station] {
    post_([this, station, before = parts_.lately(station)] { filled(station, before); });
  });
  if (asked) ++filling_;
  const std::lock_guard guard(mutex_);
  if (const auto found = watched_.find(station); found != watched_.end()) found->second.filling = asked;
}

void Live::filled(const StationId& station, const std::vector<Sample>& before) {
  --filling_;
  const std::lock_guard guard(mutex_);
  const auto found = watched_.find(station);
  if (found == watched_.end()) return;
  Watched& watched = found->second;
  watched.filling = false;
  std::deque<Sample> all;
  for (const Sample& sample : before)
    if (watched.samples.empty() || sample.time < watched.samples.front().time) all.push_back(sample);
  all.insert(all.end(), watched.samples.begin(), watched.samples.end());
  while (all.size() > samples_kept) all.pop_front();
  watched.turn = TurnWatch{};
  for (const Sample& sample : all) watched.turn.take(sample);
  if (watched.last_seen) watched.turn.take(*watched.last_seen);
  watched.untold = all.size();
  watched.samples = std::move(all);
}

std::set<StationId> Live::watched() const {
  std::set<StationId> all;
  const std::lock_guard guard(mutex_);
  for (const auto& [station, watched] : watched_) all.insert(station);
  return all;
}

bool Live::may_watch(const StationId& station) const {
  const std::lock_guard guard(mutex_);
  return watched_.contains(station) || watched_.size() < watched_max;
}

std::optional<TurnWatch::Now> Live::turn_now(const StationId& station) const {
  const std::lock_guard guard(mutex_);
  const auto found = watched_.find(station);
  return found == watched_.end() ? std::nullopt : found->second.turn.now();
}

void Live::watch_what_is_wanted() {
  std::set<StationId> wanted;
  for (const Viewer& viewer : viewers_)
    if (viewer.wish.station) wanted.insert(*viewer.wish.station);
  {
    const std::lock_guard guard(mutex_);
    std::erase_if(watched_, [&](const auto& entry) { return !wanted.contains(entry.first); });
  }
  parts_.watch({wanted.begin(), wanted.end()});
}

void Live::seen(std::vector<Seen> seen) {
  {
    const std::lock_guard guard(mutex_);
    for (Seen& one : seen) {
      if (arrived_samples_ + one.samples.size() > samples_waiting_max) continue;  // the page lags; the history has them all
      arrived_samples_ += one.samples.size();
      arrived_.push_back(std::move(one));
    }
    if (std::exchange(posted_, true)) return;
  }
  post_([this] { take_seen(); });
}

void Live::take_seen() {
  const std::lock_guard guard(mutex_);
  posted_ = false;
  arrived_samples_ = 0;
  for (const Seen& one : std::exchange(arrived_, {})) {
    const auto found = watched_.find(one.station);
    if (found == watched_.end()) continue;
    Watched& watched = found->second;
    watched.turn.take(one);
    if (!one.samples.empty()) watched.heard = parts_.wall();
    watched.last_seen = Seen{one.station, {}, one.run_since, one.run_line};
    for (const Sample& sample : one.samples) {
      if (!watched.samples.empty() && sample.time <= watched.samples.back().time) continue;  // late or doubled
      watched.samples.push_back(sample);
      ++watched.untold;
    }
    while (watched.samples.size() > samples_kept) watched.samples.pop_front();
    watched.untold = std::min(watched.untold, watched.samples.size());
  }
}

std::string Live::pressure_json(const StationId& station, const Watched& watched, std::size_t newest, std::size_t most) {
  const auto told = told_of(watched.samples, newest, most);
  int lines = 0;
  for (const Sample* s : told) lines = std::max<int>(lines, s->pressure.lines);
  JsonText json;
  json.open('{').put("station", name_of_station(station)).key("at_ms").open('[');
  for (const Sample* s : told) json.put(s->time);
  json.close(']').key("bar").open('[');
  for (int line = 1; line <= lines; ++line) {
    json.open('[');
    for (const Sample* s : told) json.put(Rounded{s->pressure.of_line(line), 2});
    json.close(']');
  }
  const Sample& last = watched.samples.back();
  json.close(']').put("heard_ms", watched.heard).put("pump", last.pump).put("line", last.line).put("level_pct", Rounded{last.level_pct, 2}).put("temp_c", Rounded{last.temp_c, 2}).close('}');
  return json.take();
}

void Live::tell(Event event, std::string_view name, const std::string& json) {
  event.id = next_id_++;
  event.bytes = event_bytes(name, life_ + "-" + std::to_string(event.id), json);
  for (Viewer& viewer : viewers_)
    if ((event.fleet && viewer.wish.fleet) || (event.station && event.station == viewer.wish.station) || (!event.fleet && !event.station))
      send(viewer, event.bytes);
  kept_bytes_ += event.bytes->size();
  kept_.push_back(std::move(event));
  while (kept_.size() > events_kept || kept_bytes_ > event_bytes_kept) {
    kept_bytes_ -= kept_.front().bytes->size();
    kept_.pop_front();
  }
}

void Live::news(const FleetNews& news) {
  // So many would not fit into what a stream may leave unread: whoever hears `hello` asks anew.
  if (news.warnings.size() > fleet_rows_told_max) tell({0, false, std::nullopt, {}}, "hello", hello(false));
  else for (const WarningNews& one : news.warnings) {
    JsonText json;
    json.open('{').put("key", text_of(one.key)).put("change", name_of(one.event)).put("urgency", name_of(one.urgency)).put("subject", one.subject);
    json.put("life", name_of(one.after)).put("by", one.by).put("at_ms", one.time).close('}');
    tell({0, false, std::nullopt, {}}, "warning", json.text());
  }
  for (const auto& turn : news.turns) {
    JsonText json;
    json.open('{').put("station", name_of_station(turn.row.station)).key("turn");
    put(json, turn);
    json.close('}');
    tell({0, false, turn.row.station, {}}, "told", json.text());
  }
  for (const auto& note : news.notes) {
    JsonText json;
    json.open('{').put("station", name_of_station(note.row.station)).key("note");
    put(json, note.row);
    json.close('}');
    tell({0, false, note.row.station, {}}, "note", json.text());
  }
  if (news.changed.empty() && !news.too_many) return;
  JsonText json;
  json.open('{').put("revision", news.now->revision).put("as_of_ms", news.now->as_of);
  put(json, news.now->head);
  json.key("sites").open('[');
  for (const std::string& site : news.now->sites) json.put(site);
  json.close(']');
  put_columns(json, *news.now, news.changed);
  if (news.too_many) json.put("reload", true);
  json.close('}');
  tell({0, true, std::nullopt, {}}, "fleet", json.text());
}

void Live::tell_pressure(const StationId& station, Watched& watched) {
  if (watched.untold == 0 || watched.filling) return;
  const Bytes bytes = event_bytes("pressure", "", pressure_json(station, watched, watched.untold, std::exchange(watched.told_first, true) ? later_samples_max : first_samples_max));
  watched.untold = 0;
  for (Viewer& viewer : viewers_)
    if (viewer.wish.station == station) send(viewer, bytes);
}

void Live::tell_turn(const StationId& station, Watched& watched) {
  const auto turn = watched.turn.now();
  const auto now = parts_.steady();
  if (watched.filling || (!turn && !watched.turn_told)) return;
  if (turn && now - watched.turn_told_at < turn_told_every) return;
  watched.turn_told = turn.has_value();
  watched.turn_told_at = now;
  JsonText json;
  json.open('{').put("station", name_of_station(station)).key("turn");
  if (turn) put_turn_now(json, *turn, fleet_.line_now(station, turn->line));
  else json.null();
  json.close('}');
  const Bytes bytes = event_bytes("turn", "", json.text());
  for (Viewer& viewer : viewers_)
    if (viewer.wish.station == station) send(viewer, bytes);
}

void Live::tick() {
  const auto now = parts_.steady();
  {
    const std::lock_guard guard(mutex_);
    for (auto& [station, watched] : watched_) {
      tell_pressure(station, watched);
      tell_turn(station, watched);
    }
  }
  static const Bytes comment = std::make_shared<const std::string>(":\n\n");
  Bytes pulse_bytes;
  bool gone = false;
  for (auto viewer = viewers_.begin(); viewer != viewers_.end();) {
    if (now - viewer->began > stream_for) viewer->sink->close();
    if (!viewer->sink->open()) {
      gone = gone || viewer->wish.station.has_value();
      viewer = viewers_.erase(viewer);
      continue;
    }
    if (now - viewer->last_pulse >= stream_pulse_every) {
      if (!pulse_bytes) pulse_bytes = event_bytes("pulse", "", pulse());
      viewer->last_pulse = now;
      send(*viewer, pulse_bytes);
    }
    if (now - viewer->last_comment >= stream_comment_every) {
      viewer->last_comment = now;
      send(*viewer, comment);
    }
    ++viewer;
  }
  if (gone) watch_what_is_wanted();
}

void Live::end_all() {
  for (Viewer& viewer : viewers_) viewer.sink->close();
  viewers_.clear();
}

}  // namespace driftline::web
