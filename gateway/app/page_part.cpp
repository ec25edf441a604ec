#include "gateway/app/page_part.h"

#include <algorithm>
#include <filesystem>
#include <utility>

#include "gateway/app/clock.h"
#include "gateway/app/lately.h"
#include "gateway/app/page_duty.h"
#include "gateway/app/run_events.h"
#include "gateway/app/trial/desk.h"

namespace driftline {
namespace {

constexpr std::chrono::minutes lately{10};  // what the page draws of the pressure as it comes

std::string words_of(broker::SourceState state) {
  switch (state) {
    case broker::SourceState::listening: return "connected";
    case broker::SourceState::stopped: return "away";
    case broker::SourceState::connecting: return "connecting";
  }
  return "away";
}

}  // namespace

tl::expected<std::shared_ptr<PagePart>, std::string> PagePart::open(const GatewaySettings& settings, Sources sources) {
  std::shared_ptr<PagePart> page(new PagePart(std::move(sources)));
  page->take(settings);
  auto opened = web::Web::open(*settings.web, page->parts(settings));
  if (!opened) return tl::unexpected(opened.error());
  page->web_ = std::move(*opened);
  return page;
}

web::WebParts PagePart::parts(const GatewaySettings& settings) {
  web::WebParts parts;
  parts.history = sources_.history;
  parts.wall = wall_now;
  parts.steady = steady_now;
  parts.plant = [this] {
    const std::lock_guard guard(mutex_);
    return plant_;
  };
  parts.configured = [this] {
    const std::lock_guard guard(mutex_);
    return configured_;
  };
  parts.gateway = [this] { return gateway_now(); };
  parts.thresholds = [this](const StationId& station) { return thresholds(station); };
  parts.post = [this](std::string_view topic, std::string_view payload) { return sources_.intake->take(topic, payload); };
  parts.watch = [this](std::vector<StationId> stations) { sources_.judging->watch(std::move(stations)); };
  parts.lately = [journal = sources_.journal, read = LatelySettings{settings.plant.topic_root, settings.plant.mappings}](const StationId& station) {
    return samples_lately(*journal, read, station, wall_now(), lately);
  };
  parts.heartbeat = sources_.heartbeat;
  parts.duty = [this] {
    const std::lock_guard guard(mutex_);
    return duty_ ? std::optional(duty_now(*duty_)) : std::nullopt;
  };
  parts.who = [this](const history::WarningRef& warning, Urgency urgency, Time at) {
    const std::lock_guard guard(mutex_);
    return duty_ ? std::optional(who_told(*duty_, warning, urgency, at)) : std::nullopt;
  };
  parts.bench = bench_parts(settings);
  parts.acted = sources_.acted;
  if (const auto key = messages::link_key_of((std::filesystem::path(sources_.history->file()).parent_path() / messages::link_key_name).string()))
    parts.link_key = *key;
  else
    run_events::links_unsigned(key.error());
  parts.telemetry_root = settings.plant.topic_root;
  parts.version = DRIFTLINE_VERSION;
  return parts;
}

rules::StationContext PagePart::context_of(const StationId& station) const {
  const std::lock_guard guard(mutex_);
  const auto found = configured_->find(station);
  return found == configured_->end() ? rules::StationContext{station, {}, defaults_} : found->second;
}

web::BenchParts PagePart::bench_parts(const GatewaySettings& settings) {
  bench_ = std::make_unique<trial::Bench>(sources_.history->file(), [this](const StationId& station) { return context_of(station); });
  web::BenchParts parts;
  parts.try_out = [this](const StationId& station, std::string_view question) { return bench_->answer(station, question, steady_now()); };
  parts.proposals = [folder = settings.config_folder, data = settings.store.data_folder] { return trial::proposals_json(folder, data); };
  parts.propose = [folder = settings.config_folder](const std::string& user, std::string_view body) {
    return trial::propose_json(folder, user, body, wall_now());
  };
  parts.act = [folder = settings.config_folder, ask_reload = settings.ask_reload](const std::string& user, const std::string& name, std::string_view body) {
    auto told = trial::act_json(folder, user, name, body, wall_now());
    if (told && ask_reload) ask_reload();
    return told;
  };
  return parts;
}

void PagePart::take(const GatewaySettings& settings) {
  auto configured = std::make_shared<const web::Configured>(settings.plant.stations);
  const std::lock_guard guard(mutex_);
  configured_ = std::move(configured);
  explain_ = settings.explain;
  defaults_ = settings.plant.defaults;
  duty_ = settings.duty;
}

void PagePart::reload(const GatewaySettings& settings) {
  take(settings);
  web_->reload(*settings.web);
}

void PagePart::show(Time as_of, std::vector<StationSummary> stations) {
  auto now = std::make_shared<web::PlantNow>();
  now->as_of = as_of;
  now->stations.reserve(stations.size());
  std::optional<Time> heard;
  for (StationSummary& s : stations) {
    if (s.last_received) heard = std::max(heard.value_or(*s.last_received), *s.last_received);
    now->stations.push_back({std::move(s.station), s.configured, s.last_received, s.messages, s.samples, s.samples_behind, s.faults, s.set_aside, std::move(s.reservoir)});
  }
  const std::lock_guard guard(mutex_);
  plant_ = std::move(now);
  heard_ = heard;
}

void PagePart::seen(std::vector<Judged::SeenRow> rows) {
  std::vector<web::Seen> all;
  for (Judged::SeenRow& row : rows) all.push_back({std::move(row.station), std::move(row.samples), row.run_since, row.run_line});
  web_->seen(std::move(all));
}

web::GatewayNow PagePart::gateway_now() const {
  const GatewayStatus status = sources_.status();
  web::GatewayNow now;
  now.broker = words_of(status.source);
  now.behind = status.judged.behind;
  now.messages = status.judged.messages;
  now.samples = status.judged.samples.read();
  now.half_cycles = status.judged.half_cycles;
  now.faults = status.judged.faults;
  const std::lock_guard guard(mutex_);
  now.heard = heard_;
  return now;
}

std::vector<web::ThresholdNow> PagePart::thresholds(const StationId& station) const {
  std::function<std::vector<EffectiveThreshold>(const StationId&)> explain;
  {
    const std::lock_guard guard(mutex_);
    explain = explain_;
  }
  std::vector<web::ThresholdNow> all;
  if (!explain) return all;
  for (EffectiveThreshold& one : explain(station)) all.push_back({std::move(one.name), std::move(one.value), std::move(one.from)});
  return all;
}

}  // namespace driftline
