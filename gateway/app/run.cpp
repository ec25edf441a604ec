#include "gateway/app/run.h"

#include <algorithm>
#include <filesystem>
#include <thread>
#include <utility>

#include "gateway/app/act_desk.h"
#include "gateway/app/act_socket.h"
#include "gateway/app/clock.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/page_part.h"
#include "gateway/app/run_events.h"
#include "gateway/app/run_limits.h"
#include "gateway/app/self_watch.h"
#include "gateway/app/trial/silent.h"
#include "gateway/broker/limits.h"
#include "gateway/broker/outbox.h"
#include "gateway/broker/topics.h"
#include "gateway/history/reader.h"
#include "gateway/telemetry/mapped.h"

namespace driftline {
namespace {

history::HistorySettings history_settings(const GatewaySettings& settings) {
  history::HistorySettings all;
  all.file = (std::filesystem::path(settings.store.data_folder) / "history.db").string();
  all.cursors.push_back(broker::mqtt_cursor_use());
  for (const ConsumerMaker& maker : settings.consumers) all.cursors.push_back(maker.cursor);
  all.keep_half_cycles = settings.store.keep_half_cycles;
  all.keep_warnings = settings.store.keep_warnings;
  all.keep_faults = settings.store.keep_faults;
  return all;
}

journal::JournalSettings journal_settings(const StoreSettings& store, journal::Position not_below) {
  journal::JournalSettings all;
  all.directory = (std::filesystem::path(store.data_folder) / "journal").string();
  all.sync_every = store.sync_every;
  all.bytes_max = store.journal_bytes_max;
  all.keep_bytes = store.journal_keep_bytes;
  all.keep_for = store.journal_keep_for;
  all.not_below = not_below;
  return all;
}

// The first position that the history knows nothing of: after a power cut it may remember more than the
// journal.
journal::Position known_to(const history::SavedStates& states) {
  std::uint64_t known = std::max<std::uint64_t>(1, states.taken_to);
  for (const auto& row : states.stations) known = std::max(known, row.position);
  return known;
}

std::vector<std::string> cursor_names(const GatewaySettings& settings) {
  std::vector<std::string> names;
  for (const ConsumerMaker& maker : settings.consumers) names.push_back(maker.cursor.name);
  return names;
}

// Empty: the change can be made while running.
std::optional<std::string> needs_restart(const GatewaySettings& now, const GatewaySettings& wanted) {
  if (!(now.store == wanted.store))
    return "the data folder or how long things are kept has changed: that needs a restart";
  if (now.broker.telemetry_root != wanted.broker.telemetry_root)
    return "the telemetry root has changed: that needs a restart";  // what is in the journal still has the
                                                                    // old one
  if (now.web.has_value() != wanted.web.has_value()) return "the page has been added or removed: that needs a restart";
  if (now.web)
    if (auto why = web::needs_restart(*now.web, *wanted.web)) return why;
  if (!(now.heartbeat == wanted.heartbeat)) return "the heartbeat has changed: that needs a restart";
  if (cursor_names(now) != cursor_names(wanted))
    return "an output has been added or removed: that needs a restart";  // the history keeps rows for those
                                                                         // it knows
  return std::nullopt;
}

}  // namespace

std::optional<std::string> problem_of(const GatewaySettings& settings) {
  const broker::BrokerSettings& mqtt = settings.broker;
  if (const auto why = broker::problem_of_root(mqtt.telemetry_root))
    return "the telemetry root \"" + mqtt.telemetry_root + "\" " + *why;
  if (const auto why = broker::problem_of_root(mqtt.output_root))
    return "the output root \"" + mqtt.output_root + "\" " + *why;
  if (broker::lies_under(mqtt.output_root, mqtt.telemetry_root))
    return "the output root \"" + mqtt.output_root + "\" lies under the telemetry root \"" +
           mqtt.telemetry_root + "\": the gateway would read what it writes";
  if (mqtt.client_id.empty()) return "the client id is empty: the broker could keep no session";
  if (mqtt.keep_alive_s < broker::keep_alive_s_min)
    return "a keep-alive under " + std::to_string(broker::keep_alive_s_min) + " s is too short";
  if (mqtt.retry_s_min < 1 || mqtt.retry_s_max < mqtt.retry_s_min)
    return "the times between attempts to connect are no range";
  if (settings.web)
    if (auto why = web::problem_of(*settings.web)) return why;
  if (settings.plant.topic_root != mqtt.telemetry_root)
    return "broker and plant differ in the telemetry root";
  const auto mapped = MappedDecoder::make(settings.plant.mappings);
  if (!mapped) return "mapping " + mapped.error().front().where + ": " + mapped.error().front().why;
  if (mapped->topic_filters() != mqtt.more_filters) return "broker and plant differ in the mappings";
  return std::nullopt;
}

Gateway::Gateway(GatewaySettings settings) : settings_(std::move(settings)) {}

Gateway::~Gateway() {
  stop();
}

std::optional<std::string> Gateway::start() {
  if (auto problem = problem_of(settings_)) return problem;
  clean_ups_ = std::make_unique<CleanUps>([](const std::string& name) { run_events::stopping_part(name); });
  auto problem = open_stores();
  if (!problem) problem = open_judging();
  if (!problem) open_acts();
  if (!problem && settings_.web) problem = open_page();
  if (problem) {
    clean_ups_.reset();
    return problem;
  }
  // Undone in the opposite order: the source first, so that nothing more comes; then the judgement, so that
  // all of it is committed; then the consumers, so that they see the last of it.
  start_self_watch();
  clean_ups_->add("self watch", [this] { self_watch_->stop(); });
  start_consumers();
  clean_ups_->add("consumers", [this] { stop_consumers(); });
  judging_->start();
  clean_ups_->add("judgement", [this] { judging_->stop(); });
  start_source();
  clean_ups_->add("source", [this] { stop_source(); });
  self_watch_->start();
  if (const auto page = this->page()) page->start();
  if (!settings_.config_folder.empty()) start_silent();
  return std::nullopt;
}

void Gateway::start_silent() {
  in_force_ = std::make_shared<const PlantSettings>(settings_.plant);
  silent_ = std::make_unique<trial::SilentJudge>(
      settings_.config_folder, settings_.store.data_folder, [this](const StationId& station) { return context_of(station); },
      [this](const std::vector<history::RolloutRow>& rows) { note(rows); });
  silent_->start();
  clean_ups_->add("silent judgement", [this] { silent_.reset(); });
}

rules::StationContext Gateway::context_of(const StationId& station) const {
  std::shared_ptr<const PlantSettings> now;
  {
    const std::lock_guard guard(ends_mutex_);
    now = in_force_;
  }
  const auto found = now->stations.find(station);
  return found == now->stations.end() ? rules::StationContext{station, {}, now->defaults} : found->second;
}

std::optional<std::string> Gateway::open_stores() {
  std::error_code failed;
  std::filesystem::create_directories(settings_.store.data_folder, failed);
  if (failed)
    return "the data folder " + settings_.store.data_folder + " cannot be made: " + failed.message();
  auto history = history::History::open(history_settings(settings_));
  if (!history) return history.error();
  history_ = std::move(*history);
  clean_ups_->add("history", [this] { history_.reset(); });
  return std::nullopt;
}

std::optional<std::string> Gateway::open_judging() {
  auto reader = history::Reader::open(history_->file());
  if (!reader) return reader.error().text;
  const auto states = (*reader)->states();
  if (!states) return states.error().text;
  auto journal = journal::Journal::open(journal_settings(settings_.store, known_to(*states)));
  if (!journal) return journal.error();
  journal_ = std::move(*journal);
  clean_ups_->add("journal", [this] { journal_.reset(); });

  PlantSettings plant_settings = settings_.plant;
  plant_settings.keep_fed = true;
  Plant plant(std::move(plant_settings));
  for (const std::string& who : restore(plant, *states)) run_events::state_unreadable(who);
  intake_ = std::make_unique<Intake>(*journal_, wall_now, plant.now());
  clean_ups_->add("intake", [this] { intake_.reset(); });
  judging_ = std::make_unique<Judging>(
      std::move(plant), std::max<journal::Position>(1, states->resume_from),
      JudgingParts{journal_.get(), history_.get(), intake_.get(), [this] { nudge(); },
                   [this](std::vector<Judged::SeenRow> rows) {
                     if (const auto page = this->page()) page->seen(std::move(rows));
                   },
                   [this](Time as_of, std::vector<StationSummary> stations) {
                     if (const auto page = this->page()) page->show(as_of, std::move(stations));
                   }});
  clean_ups_->add("plant", [this] { judging_.reset(); });
  return std::nullopt;
}

// Without its socket the gateway does all else.
void Gateway::open_acts() {
  acts_desk_ = std::make_unique<ActDesk>(*history_, wall_now, [this] { nudge(); });
  clean_ups_->add("acts", [this] { acts_desk_.reset(); });
  auto socket = ActSocket::open(settings_.store.data_folder, [this](std::string_view question) { return acts_desk_->answer(question, "command-line"); });
  if (!socket) return run_events::act_socket_failed(socket.error());
  act_socket_ = std::move(*socket);
  clean_ups_->add("act socket", [this] { act_socket_.reset(); });
}

// Its sockets are open from here on; it answers once everything else runs.
// By the outside watcher's webhook where there is one, else by MQTT.
std::optional<web::HeartbeatNow> Gateway::heartbeat_now() const {
  if (!self_watch_) return std::nullopt;
  const HeartbeatSettings& set = self_watch_->settings();
  if (set.webhook) {
    const auto calls = self_watch_->calls();
    return web::HeartbeatNow{"webhook", std::chrono::duration<double>(set.webhook->every).count(), calls.answered, calls.problem};
  }
  const bool connected = status().publisher_connected;
  return web::HeartbeatNow{"mqtt", std::chrono::duration<double>(set.every).count(), connected ? std::optional(wall_now()) : std::nullopt,
                           connected ? "" : "the broker is away"};
}
std::optional<std::string> Gateway::open_page() {
  auto page = PagePart::open(settings_, {history_.get(), intake_.get(), judging_.get(), journal_.get(), [this] { return status(); }, [this] { nudge(); }, [this] { return heartbeat_now(); }});
  if (!page) return page.error();
  {
    const std::lock_guard guard(ends_mutex_);
    page_ = std::move(*page);
  }
  clean_ups_->add("page", [this] {
    std::shared_ptr<PagePart> last;
    {
      const std::lock_guard guard(ends_mutex_);
      last = std::move(page_);
    }
    if (last) last->stop();
  });
  return std::nullopt;
}

std::shared_ptr<PagePart> Gateway::page() const {
  const std::lock_guard guard(ends_mutex_);
  return page_;
}

std::string Gateway::page_url() const {
  const auto page = this->page();
  return page ? page->url() : std::string{};
}

void Gateway::start_self_watch() {
  SelfWatchParts parts;
  parts.history_file = history_->file();
  parts.data_folder = settings_.store.data_folder;
  parts.status = [this] { return status(); };
  parts.output_trouble = [this] { return output_trouble(); };
  parts.tell = [this](const messages::GatewaySays& said) { return tell(said); };
  parts.wall = wall_now;
  parts.steady = steady_now;
  self_watch_ = std::make_shared<SelfWatch>(settings_.heartbeat, std::move(parts));
}

bool Gateway::tell(const messages::GatewaySays& said) {
  if (consumers_change_) return false;
  std::vector<std::function<bool(const messages::GatewaySays&)>> ways;
  {
    const std::lock_guard guard(ends_mutex_);
    for (const Consumer& consumer : consumers_)
      if (consumer.tell) ways.push_back(consumer.tell);
  }
  bool stored = true;
  for (const auto& way : ways) stored = way(said) && stored;
  return stored;
}

std::optional<std::string> Gateway::output_trouble() {
  std::vector<std::function<std::optional<std::string>()>> all;
  {
    const std::lock_guard guard(ends_mutex_);
    for (const Consumer& consumer : consumers_)
      if (consumer.trouble) all.push_back(consumer.trouble);
  }
  for (const auto& one : all)
    if (auto why = one()) return why;
  return std::nullopt;
}

void Gateway::tell_end(const std::string& why) {
  if (!history_ || !clean_ups_) return;
  const Time now = wall_now();
  const messages::GatewaySays said = messages::ended(now, why);
  if (!tell(said)) return;
  auto reader = history::Reader::open(history_->file());
  if (!reader) return;
  for (const auto began = steady_now(); steady_now() - began < end_told_wait;) {
    const auto rows = (*reader)->messages_since(now);
    if (!rows) return;
    const bool waits = std::any_of(rows->begin(), rows->end(), [&](const auto& stored) {
      return stored.row.row.key.starts_with(said.what) && stored.row.progress.state == history::MessageState::waiting && stored.row.progress.tries == 0;
    });
    if (!waits) return;
    std::this_thread::sleep_for(std::chrono::milliseconds{20});
  }
}

void Gateway::start_source() {
  auto source = std::make_unique<broker::Source>(
      settings_.broker,
      [this](std::string_view topic, std::string_view payload) { return intake_->take(topic, payload); },
      broker::Clocks{wall_now, coarse_now});
  source->start();
  auto acts = std::make_unique<broker::Acts>(settings_.broker, act_bytes_max, [this](std::string_view question) { return acts_desk_->answer(question, "mqtt"); });
  acts->start();
  const std::lock_guard guard(ends_mutex_);
  source_ = std::move(source);
  acts_ = std::move(acts);
}

void Gateway::stop_source() {
  std::unique_ptr<broker::Source> source;
  std::unique_ptr<broker::Acts> acts;
  {
    const std::lock_guard guard(ends_mutex_);
    source = std::move(source_);
    acts = std::move(acts_);
  }
  if (acts) acts->stop();
  if (source) source->stop();
}

void Gateway::start_consumers() {
  auto publisher = std::make_unique<broker::Publisher>(
      settings_.broker, broker::history_outbox(*history_, settings_.broker.output_root),
      broker::Heartbeat{[this, watch = self_watch_](bool ending) { return watch->heartbeat(ending && !consumers_change_); }, steady_now, settings_.heartbeat.every});
  publisher->start();
  std::vector<Consumer> consumers;
  for (const ConsumerMaker& maker : settings_.consumers) consumers.push_back(maker.start(*history_));
  const std::lock_guard guard(ends_mutex_);
  publisher_ = std::move(publisher);
  consumers_ = std::move(consumers);
}

// Taken out under the lock and ended outside of it: the judgement must not wait for them.
void Gateway::stop_consumers() {
  std::unique_ptr<broker::Publisher> publisher;
  std::vector<Consumer> consumers;
  {
    const std::lock_guard guard(ends_mutex_);
    publisher = std::move(publisher_);
    consumers = std::exchange(consumers_, {});
  }
  if (publisher) publisher->stop();
  for (const Consumer& consumer : consumers) consumer.stop();
}

void Gateway::nudge() {
  const std::lock_guard guard(ends_mutex_);
  if (publisher_) publisher_->nudge();
  for (const Consumer& consumer : consumers_) consumer.nudge();
  if (page_) page_->nudge();
}

void Gateway::stop() {
  clean_ups_.reset();
}

std::optional<std::string> Gateway::reload(GatewaySettings settings) {
  if (!clean_ups_) return "the gateway does not run";
  if (auto problem = problem_of(settings)) return problem;
  if (auto problem = needs_restart(settings_, settings)) return problem;
  const bool broker_changed = !(settings.broker == settings_.broker);
  const bool consumers_changed =
      broker_changed || !settings.consumers.empty() || !settings_.consumers.empty();
  judging_->reconfigure(settings.plant);
  if (const auto page = this->page()) page->reload(settings);
  if (broker_changed) stop_source();
  consumers_change_ = consumers_changed;
  if (consumers_changed) stop_consumers();
  settings_ = std::move(settings);
  if (silent_) {
    {
      const std::lock_guard guard(ends_mutex_);
      in_force_ = std::make_shared<const PlantSettings>(settings_.plant);
    }
    silent_->reload();
  }
  if (consumers_changed) start_consumers();
  consumers_change_ = false;
  if (broker_changed) start_source();
  return std::nullopt;
}

void Gateway::note(const std::vector<history::RolloutRow>& rollouts) {
  if (!history_ || rollouts.empty()) return;
  if (const auto noted = history_->note_rollouts(rollouts); !noted) run_events::tend_failed(name_of(noted.error().cause), noted.error().text);
}

std::optional<std::string> Gateway::failure() const {
  return judging_ ? judging_->failure() : std::nullopt;
}

GatewayStatus Gateway::status() const {
  GatewayStatus status;
  if (judging_) status.judged = judging_->counts();
  if (journal_) status.journal = journal_->status();
  const std::lock_guard guard(ends_mutex_);
  if (source_) {
    status.source = source_->state();
    status.received = source_->counts();
  }
  if (publisher_) {
    status.publisher_connected = publisher_->connected();
    status.published = publisher_->counts();
  }
  return status;
}

std::vector<Pulse> Gateway::pulses() const {
  std::vector<Pulse> all;
  if (judging_) all.push_back({"judgement", judging_->pulse()});
  if (self_watch_) all.push_back({"self watch", self_watch_->pulse()});
  const std::lock_guard guard(ends_mutex_);
  if (source_) all.push_back({"source", source_->pulse()});
  if (acts_) all.push_back({"acts", acts_->pulse()});
  if (publisher_) all.push_back({"publisher", publisher_->pulse()});
  for (const Consumer& consumer : consumers_)
    if (consumer.pulse) all.push_back({consumer.name, consumer.pulse()});
  if (page_) all.push_back({"page", page_->pulse()});
  return all;
}

}  // namespace driftline
