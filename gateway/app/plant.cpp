#include "gateway/app/plant.h"

#include <algorithm>
#include <atomic>
#include <functional>
#include <set>
#include <thread>
#include <unordered_map>
#include <utility>
#include <variant>

#include "gateway/app/fold.h"
#include "gateway/app/limits.h"
#include "gateway/app/saved_fold.h"
#include "gateway/app/site_judge.h"
#include "gateway/app/station_judge.h"
#include "rules/judgement/reservoir_now.h"
#include "rules/records/require.h"

namespace driftline {
namespace {

using fold::Keyed;
using fold::Reading;
using fold::Site;
using fold::SiteOutput;
using fold::Station;
using fold::StationJudge;

// Calls work(worker, i) for every i below `count`, on up to `threads` threads. Exceptions end the process: none is expected.
void for_each_in_parallel(std::size_t count, int threads, const std::function<void(std::size_t, std::size_t)>& work) {
  const std::size_t workers = std::min<std::size_t>(static_cast<std::size_t>(std::max(threads, 1)), count);
  std::atomic<std::size_t> next{0};
  const auto run = [&](std::size_t worker) {
    for (std::size_t i = next.fetch_add(1); i < count; i = next.fetch_add(1)) work(worker, i);
  };
  std::vector<std::jthread> others;
  for (std::size_t worker = 1; worker < workers; ++worker) others.emplace_back(run, worker);
  if (workers > 0) run(0);
}

// Its parser's buffers are one thread's, so every judge has its own.
MappedDecoder decoder_of(const std::vector<Mapping>& mappings) {
  auto decoder = MappedDecoder::make(mappings);
  require(decoder.has_value(), "mappings have been checked before they come to the plant");
  return std::move(*decoder);
}

bool lies_under_root(std::string_view topic, std::string_view root) {
  return topic.size() > root.size() && topic.starts_with(root) && topic[root.size()] == '/';
}

// Appends the rows of all sites in key order; sites stand in the order of their names.
template <class Row>
void gather(std::vector<SiteOutput>& outputs, std::vector<Keyed<Row>> SiteOutput::*list, std::vector<Row>& into) {
  std::vector<Keyed<Row>*> rows;
  for (SiteOutput& output : outputs)
    for (Keyed<Row>& row : output.*list) rows.push_back(&row);
  std::stable_sort(rows.begin(), rows.end(), [](const auto* a, const auto* b) { return a->key < b->key; });
  into.reserve(into.size() + rows.size());
  for (Keyed<Row>* row : rows) into.push_back(std::move(row->row));
}

}  // namespace

struct Plant::Body {
  explicit Body(PlantSettings with) : settings(std::move(with)), mapped(decoder_of(settings.mappings)) {
    make_judges();
    for (const auto& [id, context] : settings.stations) station_of(id);
  }

  struct Place {
    Station* station = nullptr;
    Reading reading;
  };

  PlantSettings settings;
  MappedDecoder mapped;  // matches topics; the judges decode
  std::map<std::string, Site> sites;
  std::unordered_map<std::string, Place> by_topic;  // look-up only, never walked
  std::size_t station_count = 0;
  std::set<StationId> watched;
  Time now{};
  Position last_position = 0;
  // Faults that no station's state can answer for; saved under an empty StationId like a station.
  Position unplaced_reached = 0;
  std::vector<StationJudge> judges;

  Station* station_of(const StationId& id) {
    auto& stations = sites[id.site].stations;
    if (const auto found = stations.find(id.station); found != stations.end()) return &found->second;
    if (station_count >= stations_max) return nullptr;
    ++station_count;
    Station& station = stations[id.station];
    station.watched = watched.contains(id);
    station.last_taken = time_from_ms(0);
    station.summary.station = id;
    set_context(station, id);
    return &station;
  }

  void set_context(Station& station, const StationId& id) {
    const auto found = settings.stations.find(id);
    station.configured = found != settings.stations.end();
    station.summary.configured = station.configured;
    station.context = station.configured ? found->second : rules::StationContext{id, {}, settings.defaults};
    station.context.id = id;
  }

  void make_judges() {
    judges.clear();
    for (int i = 0; i < std::max(settings.threads, 1); ++i) judges.emplace_back(decoder_of(settings.mappings), settings.keep_fed);
  }

  // What lies under the root is our own shape, whatever the mappings say. A topic of neither is answered as one of ours.
  [[nodiscard]] TopicOutcome read_any_topic(std::string_view topic, std::optional<std::size_t>& mapping) const {
    if (!lies_under_root(topic, settings.topic_root)) {
      if (auto match = mapped.match(topic)) {
        mapping = match->mapping;
        return std::move(match->outcome);
      }
    }
    return read_topic(settings.topic_root, topic);
  }

  // Where a message belongs; a fault when it belongs nowhere.
  std::variant<Place, Judged::FaultRow> place(const Message& message) {
    if (const auto known = by_topic.find(message.topic); known != by_topic.end()) return known->second;
    std::optional<std::size_t> mapping;
    TopicOutcome outcome = read_any_topic(message.topic, mapping);
    if (!outcome.topic) return Judged::FaultRow{message.received, message.topic, outcome.station, std::move(*outcome.fault)};
    const StationId& id = outcome.topic->station;
    if (!settings.watch_unknown_stations && !settings.stations.contains(id))
      return Judged::FaultRow{message.received, message.topic, id,
                              Fault{FaultCode::unknown_station, "", "no station of this name is configured",
                                    "add it to the plant, or set watch_unknown_stations"}};
    Station* station = station_of(id);
    if (station == nullptr)
      return Judged::FaultRow{message.received, message.topic, id,
                              Fault{FaultCode::too_many_stations, "",
                                    "already " + std::to_string(stations_max) + " stations are watched",
                                    "a second gateway for some of the sites"}};
    return by_topic.emplace(message.topic, Place{station, {outcome.topic->kind, mapping}}).first->second;
  }

  // Hands each message to its station; what belongs nowhere becomes a fault of this batch.
  std::vector<Keyed<Judged::FaultRow>> distribute(std::span<const PlantMessage> messages) {
    std::vector<Keyed<Judged::FaultRow>> unplaced;
    for (const PlantMessage& arrived : messages) {
      require(arrived.position > last_position, "positions of messages rise");
      last_position = arrived.position;
      auto placed = place(arrived.message);
      if (auto* to = std::get_if<0>(&placed)) {
        auto [station, reading] = *to;
        if (arrived.position <= station->reached) continue;  // taken before a restart
        station->waiting.push_back(&arrived);
        station->waiting_readings.push_back(reading);
      } else if (arrived.position > unplaced_reached) {
        unplaced_reached = arrived.position;
        const Time when = std::max(arrived.message.received, now);
        unplaced.push_back({{when, arrived.position}, std::move(std::get<1>(placed))});
      }
      now = std::max(now, arrived.message.received);
    }
    return unplaced;
  }

  Judged judge_until(Time end, std::vector<Keyed<Judged::FaultRow>> unplaced, bool finishing) {
    std::vector<Station*> due;
    for (auto& [site_name, site] : sites) {
      for (auto& [name, station] : site.stations) {
        const auto wake = fold::wake_at(station);
        if (finishing || !station.waiting.empty() || (wake && *wake <= end)) due.push_back(&station);
      }
    }
    for_each_in_parallel(due.size(), settings.threads, [&](std::size_t worker, std::size_t i) {
      judges[worker].judge_batch(*due[i], end);
      if (finishing) judges[worker].finish(*due[i], end);
    });

    std::vector<Site*> all_sites;
    for (auto& [name, site] : sites) all_sites.push_back(&site);
    std::vector<SiteOutput> outputs(all_sites.size() + 1);
    for_each_in_parallel(all_sites.size(), settings.threads, [&](std::size_t, std::size_t i) {
      fold::SiteJudge(*all_sites[i], outputs[i]).judge(end);
    });
    const bool any_unplaced = !unplaced.empty();
    outputs.back().faults = std::move(unplaced);

    Judged judged;
    if (settings.keep_states)
      save_changed(outputs, any_unplaced, judged);
    else
      for (Station* station : due) hand_over_fed(*station, judged);
    for (Station* station : due) station->steps.clear();
    for (Station* station : due)
      if (!station->seen.empty()) hand_over_seen(*station, judged);
    gather(outputs, &SiteOutput::half_cycles, judged.half_cycles);
    gather(outputs, &SiteOutput::warnings, judged.warnings);
    gather(outputs, &SiteOutput::reservoirs, judged.reservoirs);
    gather(outputs, &SiteOutput::forecasts, judged.forecasts);
    gather(outputs, &SiteOutput::faults, judged.faults);
    return judged;
  }

  void save_changed(const std::vector<SiteOutput>& outputs, bool any_unplaced, Judged& judged) {
    std::size_t i = 0;
    for (auto& [site_name, site] : sites) {
      for (auto& [name, station] : site.stations)
        if (!station.steps.empty()) save(station, judged);
      if (outputs[i++].touched) judged.sites.push_back({site_name, fold::saved(site)});
    }
    if (any_unplaced) judged.stations.push_back({{}, unplaced_reached, {}});
  }

  static void hand_over_seen(Station& station, Judged& judged) {
    Judged::SeenRow row{station.context.id, std::exchange(station.seen, {}), std::nullopt, std::nullopt};
    if (const cycles::Turn* run = station.cycles.live.open_run(); run != nullptr && !run->run.points.empty()) {
      row.run_since = run->run.time_of(0);
      row.run_line = cycles::line_served(*run);
    }
    judged.seen.push_back(std::move(row));
  }

  static void hand_over_fed(Station& station, Judged& judged) {
    for (FedEvent& event : station.fed) judged.fed.push_back({station.context.id, std::move(event)});
    station.fed.clear();
  }

  static void save(Station& station, Judged& judged) {
    hand_over_fed(station, judged);
    judged.stations.push_back({station.context.id, station.reached, fold::saved(station)});
    station.first_unsaved.reset();
  }
};

Plant::Plant(PlantSettings settings) : body_(std::make_unique<Body>(std::move(settings))) {}
Plant::~Plant() = default;
Plant::Plant(Plant&&) noexcept = default;
Plant& Plant::operator=(Plant&&) noexcept = default;

Judged Plant::judge(std::span<const PlantMessage> messages) {
  auto unplaced = body_->distribute(messages);
  Judged judged = body_->judge_until(body_->now, std::move(unplaced), false);
  judged.messages = messages.size();
  return judged;
}

Judged Plant::advance_to(Time now) {
  body_->now = std::max(body_->now, now);
  return body_->judge_until(body_->now, {}, false);
}

Judged Plant::finish() {
  const Time midnight = std::chrono::floor<std::chrono::days>(body_->now) + std::chrono::days{1};
  if (seconds_between(body_->now, midnight) <= day_end_slack_s) body_->now = midnight;
  return body_->judge_until(body_->now, {}, true);
}

Judged Plant::checkpoint(std::size_t stations_at_most) {
  std::vector<Station*> unsaved;
  for (auto& [site_name, site] : body_->sites)
    for (auto& [name, station] : site.stations)
      if (station.first_unsaved) unsaved.push_back(&station);
  const std::size_t count = std::min(stations_at_most, unsaved.size());
  std::partial_sort(unsaved.begin(), unsaved.begin() + static_cast<std::ptrdiff_t>(count), unsaved.end(),
                    [](const Station* a, const Station* b) { return a->first_unsaved < b->first_unsaved; });
  Judged judged;
  for (std::size_t i = 0; i < count; ++i) Body::save(*unsaved[i], judged);
  return judged;
}

std::optional<Position> Plant::needed_from() const {
  if (body_->last_position == 0) return std::nullopt;
  Position oldest = body_->last_position + 1;
  for (const auto& [site_name, site] : body_->sites)
    for (const auto& [name, station] : site.stations)
      if (station.first_unsaved) oldest = std::min(oldest, *station.first_unsaved);
  return oldest;
}

bool Plant::restore(const StationId& station, std::string_view bytes) {
  if (station == StationId{}) return false;
  // The plant's own time stays: it follows the messages that are read again, which a station that lags still needs.
  Station* const place = body_->station_of(station);
  return place != nullptr && fold::restore(*place, bytes);
}

void Plant::restore_unplaced(Position reached) { body_->unplaced_reached = reached; }

bool Plant::restore_site(const std::string& site, std::string_view bytes) {
  return fold::restore(body_->sites[site], bytes);
}

void Plant::reconfigure(PlantSettings settings) {
  settings.keep_states = body_->settings.keep_states;  // how it is used, not what it is told
  settings.keep_fed = body_->settings.keep_fed;
  body_->settings = std::move(settings);
  body_->mapped = decoder_of(body_->settings.mappings);
  body_->make_judges();
  body_->by_topic.clear();
  for (const auto& [id, context] : body_->settings.stations) body_->station_of(id);
  for (auto& [site_name, site] : body_->sites)
    for (auto& [name, station] : site.stations) body_->set_context(station, {site_name, name});
}

std::vector<StationSummary> Plant::stations() const {
  std::vector<StationSummary> all;
  for (const auto& [site_name, site] : body_->sites)
    for (const auto& [name, station] : site.stations) {
      const cycles::SampleCounts counts = cycles::counted(station.cycles);
      StationSummary& summary = all.emplace_back(station.summary);
      summary.samples_used = counts.used;
      summary.samples_doubled = counts.doubled;
      summary.samples_behind = counts.behind;
      summary.samples_held = counts.held;
      if (summary.last_received)
        if (const auto time = station.cycles.clock.station_time(*summary.last_received))
          summary.stamped_behind_s = seconds_between(*time, *summary.last_received);
      if (!station.summary.set_aside) summary.reservoir = rules::reservoir_now(station.rules, body_->now, station.context);
    }
  return all;
}

void Plant::watch(const std::vector<StationId>& stations) {
  body_->watched = {stations.begin(), stations.end()};
  for (auto& [site_name, site] : body_->sites)
    for (auto& [name, station] : site.stations) station.watched = body_->watched.contains(station.context.id);
}

Time Plant::now() const { return body_->now; }

}  // namespace driftline
