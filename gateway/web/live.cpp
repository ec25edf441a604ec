#include "gateway/web/live.h"

#include <algorithm>
#include <charconv>

#include "gateway/web/limits.h"
#include "gateway/web/rows_json.h"
#include "gateway/web/sessions.h"
#include "rules/records/names.h"

namespace driftline::web {
namespace {

constexpr std::size_t first_samples_max = 400;               // of the first answer to a watcher: some 12 kB
constexpr std::chrono::seconds turn_told_every{1};
constexpr double vented_bar = 20;                            // where no residual limit is known
constexpr std::chrono::minutes vent_followed{5};

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

Live::Live(const WebParts& parts, Fleet& fleet, Post post) : parts_(parts), fleet_(fleet), post_(std::move(post)), life_(random_token().substr(0, 8)) {}

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
    if (!watched.samples.empty())
      send(viewer, event_bytes("pressure", "", pressure_json(*wish.station, watched.samples, std::min(watched.samples.size(), first_samples_max))));
  }
  if (begins) watch_what_is_wanted();
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
    for (const Sample& sample : one.samples) {
      if (!watched.samples.empty() && sample.time <= watched.samples.back().time) continue;  // late or doubled
      watched.samples.push_back(sample);
      ++watched.untold;
    }
    while (watched.samples.size() > samples_kept) watched.samples.pop_front();
    watched.untold = std::min(watched.untold, watched.samples.size());
  }
}

std::string Live::pressure_json(const StationId& station, const std::deque<Sample>& samples, std::size_t newest) {
  const auto first = samples.end() - static_cast<std::ptrdiff_t>(newest);
  int lines = 0;
  for (auto s = first; s != samples.end(); ++s) lines = std::max<int>(lines, s->pressure.lines);
  JsonText json;
  json.open('{').put("station", name_of_station(station)).key("at_ms").open('[');
  for (auto s = first; s != samples.end(); ++s) json.put(s->time);
  json.close(']').key("bar").open('[');
  for (int line = 1; line <= lines; ++line) {
    json.open('[');
    for (auto s = first; s != samples.end(); ++s) json.put(Rounded{s->pressure.of_line(line), 2});
    json.close(']');
  }
  const Sample& last = samples.back();
  json.close(']').put("pump", last.pump).put("line", last.line).put("level_pct", Rounded{last.level_pct, 2}).put("temp_c", Rounded{last.temp_c, 2}).close('}');
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
  for (const WarningChange& change : news.warnings)
    warning(text_of(key_of(change)), name_of(change.change), change.urgency, change.text.substr(0, change.text.find('\n')), change.time);
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

void Live::warning(const std::string& key, std::string_view change, Urgency urgency, const std::string& subject, Time at) {
  JsonText json;
  json.open('{').put("key", key).put("change", change).put("urgency", name_of(urgency)).put("subject", subject).put("at_ms", at).close('}');
  tell({0, false, std::nullopt, {}}, "warning", json.text());
}

void Live::tell_pressure(const StationId& station, Watched& watched) {
  if (watched.untold == 0) return;
  const Bytes bytes = event_bytes("pressure", "", pressure_json(station, watched.samples, watched.untold));
  watched.untold = 0;
  for (Viewer& viewer : viewers_)
    if (viewer.wish.station == station) send(viewer, bytes);
}

void Live::tell_turn(const StationId& station, Watched& watched) {
  const auto turn = watched.turn.now();
  const auto now = parts_.steady();
  if (!turn && !watched.turn_told) return;
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
