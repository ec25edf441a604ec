#include "gateway/app/plant.h"

#include <algorithm>
#include <atomic>
#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/string.hpp>
#include <functional>
#include <sstream>
#include <thread>
#include <tuple>
#include <unordered_map>
#include <utility>
#include <variant>

#include "gateway/app/limits.h"
#include "gateway/cycles/state.h"
#include "gateway/cycles/station_cycles.h"
#include "gateway/telemetry/mapped.h"
#include "rules/judgement/site_state.h"
#include "rules/judgement/station_state.h"
#include "rules/records/require.h"

namespace driftline {
namespace {

constexpr std::uint32_t saved_version = 1;

// When something was settled, in the order in which the plant's outputs stand: by gateway time; what waiting settled
// before what a message of the same millisecond settled; then by arrival.
struct StepKey {
  Time when{};
  Position position = 0;  // of the message; 0: settled by waiting
  auto operator<=>(const StepKey&) const = default;
};

struct Step {
  StepKey key;
  std::variant<HalfCycle, rules::Judgement, Judged::FaultRow> what;
};

// How a message is to be read; settled by its topic.
struct Reading {
  TopicKind kind = TopicKind::telemetry;
  std::optional<std::size_t> mapping;  // empty: our own shape
};

struct Station {
  rules::StationContext context;
  bool configured = false;
  cycles::State cycles;
  rules::StationState rules;
  Position reached = 0;
  std::optional<Position> first_unsaved;
  Time last_taken{};  // nothing settles by waiting at or before this
  StationSummary summary;

  // Filled by the judging of one batch, emptied by its gathering.
  std::vector<const PlantMessage*> waiting;
  std::vector<Reading> waiting_readings;
  std::vector<Step> steps;
};

struct Site {
  std::map<std::string, Station> stations;
  rules::SiteState state;
  Time last_taken{};
};

std::optional<Time> earlier(std::optional<Time> a, std::optional<Time> b) {
  if (!a) return b;
  if (!b) return a;
  return std::min(*a, *b);
}

std::string saved_bytes(const Station& station) {
  std::ostringstream out;
  cereal::PortableBinaryOutputArchive archive(out);
  const StationSummary& s = station.summary;
  archive(saved_version, station.reached, station.last_taken.time_since_epoch().count(), s.messages, s.samples, s.faults,
          cycles::save(station.cycles), rules::save(station.rules));
  return std::move(out).str();
}

bool restore_bytes(Station& station, std::string_view bytes) {
  try {
    std::istringstream in{std::string(bytes)};
    cereal::PortableBinaryInputArchive archive(in);
    std::uint32_t version = 0;
    archive(version);
    if (version != saved_version) return false;
    Position reached = 0;
    std::int64_t last_taken_ms = 0;
    StationSummary summary = station.summary;
    std::string cycles_bytes;
    std::string rules_bytes;
    archive(reached, last_taken_ms, summary.messages, summary.samples, summary.faults, cycles_bytes, rules_bytes);
    auto cycles_state = cycles::load(cycles_bytes);
    auto rules_state = rules::load_station(rules_bytes);
    if (!cycles_state || !rules_state) return false;
    station.reached = reached;
    station.last_taken = time_from_ms(last_taken_ms);
    station.summary = summary;
    if (summary.messages > 0) station.summary.last_received = station.last_taken;
    station.cycles = std::move(*cycles_state);
    station.rules = std::move(*rules_state);
    return true;
  } catch (const cereal::Exception&) {
    return false;
  }
}

// Judges the messages of one station. Owns what one thread reuses from station to station.
class StationJudge {
 public:
  explicit StationJudge(MappedDecoder mapped) : mapped_(std::move(mapped)) {}

  void judge_batch(Station& station, Time batch_end) {
    try {
      if (!station.summary.set_aside) take_waiting(station, batch_end);
    } catch (const BrokenInvariant&) {
      station.summary.set_aside = true;
    }
    station.waiting.clear();
    station.waiting_readings.clear();
  }

  void finish(Station& station, Time now) {
    try {
      if (station.summary.set_aside) return;
      events_.clear();
      cycles::finish(station.cycles, station.context.design.settings, events_);
      hand_on_events(station, StepKey{now, 0});
    } catch (const BrokenInvariant&) {
      station.summary.set_aside = true;
    }
  }

  void advance(Station& station, Time until) {
    for (;;) {
      auto due = earlier(cycles::wake_at(station.cycles), rules::wake_at(station.rules));
      if (!due) return;
      due = std::max(*due, station.last_taken + std::chrono::milliseconds{1});
      if (*due > until) return;
      const StepKey key{*due, 0};
      events_.clear();
      cycles::advance_to(station.cycles, *due, station.context.design.settings, events_);
      hand_on_events(station, key);
      rules::advance_to(station.rules, *due, station.context, judgements_);
      hand_on_judgements(station, key);
      station.last_taken = *due;
    }
  }

 private:
  void take_waiting(Station& station, Time batch_end) {
    for (std::size_t i = 0; i < station.waiting.size(); ++i) take(station, *station.waiting[i], station.waiting_readings[i]);
    advance(station, batch_end);
  }

  void take(Station& station, const PlantMessage& arrived, Reading reading) {
    const Message& message = arrived.message;
    const Time received = std::max(message.received, station.last_taken);
    advance(station, received);
    station.last_taken = received;
    station.reached = arrived.position;
    if (!station.first_unsaved) station.first_unsaved = arrived.position;
    const StepKey key{received, arrived.position};
    const ControllerSettings& fallback = station.context.design.settings;

    decode(message, reading);
    ++station.summary.messages;
    station.summary.samples += decoded_.samples.size();
    station.summary.faults += decoded_.faults.size();
    station.summary.last_received = received;
    for (Fault& fault : decoded_.faults)
      station.steps.push_back({key, Judged::FaultRow{message.received, message.topic, station.context.id, std::move(fault)}});

    events_.clear();
    for (const Sample& sample : decoded_.samples) cycles::take(station.cycles, sample, received, fallback, events_);
    if (decoded_.settings) cycles::take(station.cycles, *decoded_.settings, received, fallback, events_);
    if (decoded_.presence) {
      cycles::take(station.cycles, *decoded_.presence, received, fallback, events_);
      events_.emplace_back(*decoded_.presence);
    }
    if (decoded_.note) events_.emplace_back(*decoded_.note);
    hand_on_events(station, key);
  }

  void decode(const Message& message, Reading reading) {
    if (reading.mapping)
      mapped_.decode(*reading.mapping, message.payload, message.received, decoded_);
    else
      native_.decode(reading.kind, message.payload, message.received, decoded_);
  }

  void hand_on_events(Station& station, StepKey key) {
    for (StationEvent& event : events_) {
      rules::judge(station.rules, event, key.when, station.context, judgements_);
      if (auto* half_cycle = std::get_if<HalfCycle>(&event)) station.steps.push_back({key, std::move(*half_cycle)});
      hand_on_judgements(station, key);
    }
    events_.clear();
  }

  void hand_on_judgements(Station& station, StepKey key) {
    for (rules::Judgement& judgement : judgements_) station.steps.push_back({key, std::move(judgement)});
    judgements_.clear();
  }

  NativeDecoder native_;
  MappedDecoder mapped_;
  Decoded decoded_;
  std::vector<StationEvent> events_;
  std::vector<rules::Judgement> judgements_;
};

// A row for the batch, with the key that orders it among the rows of other sites.
template <class Row>
struct Keyed {
  StepKey key;
  Row row;
};

// What one site's part of a batch came to.
struct SiteOutput {
  std::vector<Keyed<Judged::HalfCycleRow>> half_cycles;
  std::vector<Keyed<WarningChange>> warnings;
  std::vector<Keyed<ReservoirDay>> reservoirs;
  std::vector<Keyed<ForecastDay>> forecasts;
  std::vector<Keyed<Judged::FaultRow>> faults;
  bool touched = false;  // the site's own state changed
};

class SiteJudge {
 public:
  SiteJudge(Site& site, SiteOutput& out) : site_(site), out_(out) {}

  // Takes the steps of all stations in order, with the site's own waiting in between, up to `batch_end`.
  void judge(Time batch_end) {
    struct Placed {
      Step* step;
      Station* station;
    };
    std::vector<Placed> placed;
    for (auto& [name, station] : site_.stations)
      for (Step& step : station.steps) placed.push_back({&step, &station});
    // Stations stand in the order of their names, and a station's own steps in the order in which they were settled.
    std::stable_sort(placed.begin(), placed.end(),
                     [](const Placed& a, const Placed& b) { return a.step->key < b.step->key; });
    for (const Placed& p : placed) {
      advance(p.step->key.when);
      take(*p.step, *p.station);
    }
    advance(batch_end);
  }

 private:
  void take(Step& step, const Station& station) {
    const StationId& id = station.context.id;
    if (auto* half_cycle = std::get_if<HalfCycle>(&step.what)) {
      out_.half_cycles.push_back({step.key, {id, std::move(*half_cycle)}});
    } else if (auto* fault = std::get_if<Judged::FaultRow>(&step.what)) {
      out_.faults.push_back({step.key, std::move(*fault)});
    } else {
      auto& judgement = std::get<rules::Judgement>(step.what);
      if (auto* day = std::get_if<ReservoirDay>(&judgement)) {
        out_.reservoirs.push_back({step.key, std::move(*day)});
      } else {
        rules::judge(site_.state, id, std::get<Finding>(judgement), step.key.when, site_outputs_);
        out_.touched = true;
        hand_on(step.key);
      }
    }
  }

  void advance(Time until) {
    for (;;) {
      auto due = rules::wake_at(site_.state);
      if (!due) break;
      due = std::max(*due, site_.last_taken + std::chrono::milliseconds{1});
      if (*due > until) break;
      rules::advance_to(site_.state, *due, site_outputs_);
      site_.last_taken = *due;
      out_.touched = true;
      hand_on({*due, 0});
    }
  }

  void hand_on(StepKey key) {
    for (rules::SiteOutput& output : site_outputs_) {
      if (auto* change = std::get_if<WarningChange>(&output))
        out_.warnings.push_back({key, std::move(*change)});
      else
        out_.forecasts.push_back({key, std::move(std::get<ForecastDay>(output))});
    }
    site_outputs_.clear();
  }

  Site& site_;
  SiteOutput& out_;
  std::vector<rules::SiteOutput> site_outputs_;
};

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
    for (int i = 0; i < std::max(settings.threads, 1); ++i) judges.emplace_back(decoder_of(settings.mappings));
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
        const auto wake = earlier(cycles::wake_at(station.cycles), rules::wake_at(station.rules));
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
      SiteJudge(*all_sites[i], outputs[i]).judge(end);
    });
    const bool any_unplaced = !unplaced.empty();
    outputs.back().faults = std::move(unplaced);

    Judged judged;
    if (settings.keep_states) save_changed(outputs, any_unplaced, judged);
    for (Station* station : due) station->steps.clear();
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
      if (outputs[i++].touched) judged.sites.push_back({site_name, saved_site(site)});
    }
    if (any_unplaced) judged.stations.push_back({{}, unplaced_reached, {}});
  }

  static void save(Station& station, Judged& judged) {
    judged.stations.push_back({station.context.id, station.reached, saved_bytes(station)});
    station.first_unsaved.reset();
  }

  static std::string saved_site(const Site& site) {
    std::ostringstream out;
    cereal::PortableBinaryOutputArchive archive(out);
    archive(saved_version, site.last_taken.time_since_epoch().count(), rules::save(site.state));
    return std::move(out).str();
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
  return place != nullptr && restore_bytes(*place, bytes);
}

void Plant::restore_unplaced(Position reached) { body_->unplaced_reached = reached; }

bool Plant::restore_site(const std::string& site, std::string_view bytes) {
  try {
    std::istringstream in{std::string(bytes)};
    cereal::PortableBinaryInputArchive archive(in);
    std::uint32_t version = 0;
    std::int64_t last_taken_ms = 0;
    std::string state_bytes;
    archive(version);
    if (version != saved_version) return false;
    archive(last_taken_ms, state_bytes);
    auto state = rules::load_site(state_bytes);
    if (!state) return false;
    body_->sites[site].state = std::move(*state);
    body_->sites[site].last_taken = time_from_ms(last_taken_ms);
    return true;
  } catch (const cereal::Exception&) {
    return false;
  }
}

void Plant::reconfigure(PlantSettings settings) {
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
    for (const auto& [name, station] : site.stations)
      all.emplace_back(station.summary).samples_behind =
          station.cycles.samples_behind + station.cycles.clock.given_up();
  return all;
}

Time Plant::now() const { return body_->now; }

}  // namespace driftline
