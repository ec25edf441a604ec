#include "gateway/app/self_watch.h"

#include <algorithm>
#include <filesystem>

#include <nlohmann/json.hpp>

#include "gateway/app/run_events.h"
#include "gateway/app/run_limits.h"
#include "gateway/messages/beat_hook.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

using messages::Trouble;

std::optional<std::string> broker_trouble(const GatewayStatus& status) {
  if (status.source != broker::SourceState::listening) return "the gateway does not hear the broker";
  if (!status.publisher_connected) return "the gateway hears the broker, but cannot publish there";
  return std::nullopt;
}

// Half of them or more, as long as a quarter or more are, so that a plant at the edge does not flap.
std::optional<std::string> silence_trouble(const GatewayStatus& status, const std::optional<std::int64_t>& silent, bool before) {
  if (!silent || *silent < silent_stations_least) return std::nullopt;
  const std::int64_t stations = std::max(*silent, static_cast<std::int64_t>(status.judged.stations));
  if (*silent * (before ? 4 : 2) < stations) return std::nullopt;
  return std::to_string(*silent) + " of " + std::to_string(stations) + " stations are silent";
}

}  // namespace

SelfWatch::SelfWatch(const HeartbeatSettings& settings, SelfWatchParts parts) : settings_(settings), parts_(std::move(parts)) {}

SelfWatch::~SelfWatch() { stop(); }

void SelfWatch::start() {
  thread_ = std::thread([this] { run(); });
}

void SelfWatch::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void SelfWatch::run() {
  std::unique_lock lock(mutex_);
  while (!stopping_) {
    lock.unlock();
    ++pulse_;
    look();
    call_webhook();
    lock.lock();
    changed_.wait_for(lock, self_watch_every, [this] { return stopping_; });
  }
}

void SelfWatch::look() {
  const GatewayStatus status = parts_.status();
  const auto silent = count_silent();
  for (messages::GatewaySays& said : troubles_.look(seen(status, silent), parts_.wall())) {
    run_events::own_trouble(said.what, said.subject);
    waiting_.push_back(std::move(said));
  }
  tell_waiting();
  const std::lock_guard guard(mutex_);
  counted_ = {silent, troubles_.standing()};
}

messages::TroublesNow SelfWatch::seen(const GatewayStatus& status, const std::optional<std::int64_t>& silent) {
  const auto told = troubles_.standing();
  messages::TroublesNow now;
  now.of(Trouble::broker) = broker_trouble(status);
  now.of(Trouble::output) = parts_.output_trouble ? parts_.output_trouble() : std::nullopt;
  now.of(Trouble::history) = history_trouble(status);
  now.of(Trouble::disk) = disk_trouble();
  now.of(Trouble::silence) = silence_trouble(status, silent, std::find(told.begin(), told.end(), Trouble::silence) != told.end());
  return now;
}

// From a commit that failed until the next that did not.
std::optional<std::string> SelfWatch::history_trouble(const GatewayStatus& status) {
  if (status.judged.commit_failures != commit_failures_) commits_fail_ = true;
  else if (status.judged.commits != commits_) commits_fail_ = false;
  commit_failures_ = status.judged.commit_failures;
  commits_ = status.judged.commits;
  if (status.journal.sync_failing) return "the journal in " + parts_.data_folder + " cannot be written";
  if (commits_fail_) return "the history in " + parts_.data_folder + " cannot be written";
  return std::nullopt;
}

std::optional<std::string> SelfWatch::disk_trouble() {
  std::optional<std::uint64_t> left;
  if (parts_.free_bytes) {
    left = parts_.free_bytes();
  } else {
    std::error_code failed;
    const auto space = std::filesystem::space(parts_.data_folder, failed);
    if (!failed) left = space.available;
  }
  if (!left) return std::nullopt;
  disk_low_ = *left < (disk_low_ ? disk_well_bytes : disk_low_bytes);
  if (!disk_low_) return std::nullopt;
  return std::to_string(*left >> 20) + " MB are left on the disk of " + parts_.data_folder;
}

std::optional<std::int64_t> SelfWatch::count_silent() {
  if (!reader_) {
    auto opened = history::Reader::open(parts_.history_file);
    if (!opened) return std::nullopt;
    reader_ = std::move(*opened);
  }
  const auto open = reader_->open_warnings();
  if (!open) {
    reader_.reset();
    return std::nullopt;
  }
  return std::count_if(open->begin(), open->end(), [](const auto& stored) { return stored.row.condition == Condition::station_silent; });
}

void SelfWatch::tell_waiting() {
  while (!waiting_.empty() && parts_.tell(waiting_.front())) waiting_.pop_front();
}

std::string SelfWatch::heartbeat(bool ending) const {
  const GatewayStatus status = parts_.status();
  Counted counted;
  {
    const std::lock_guard guard(mutex_);
    counted = counted_;
  }
  nlohmann::ordered_json troubles = nlohmann::ordered_json::array();
  for (const Trouble trouble : counted.troubles) troubles.push_back(messages::name_of(trouble));
  const auto stations = static_cast<std::int64_t>(status.judged.stations);
  const auto aside = static_cast<std::int64_t>(status.judged.set_aside);
  using Json = nlohmann::ordered_json;
  const Json body{{"state", ending ? "ended" : "running"},
                  {"time", rfc3339(parts_.wall())},
                  {"version", DRIFTLINE_VERSION},
                  {"stations", stations},
                  {"watched", counted.silent ? Json(std::max<std::int64_t>(0, stations - *counted.silent - aside)) : Json(nullptr)},
                  {"silent", counted.silent ? Json(*counted.silent) : Json(nullptr)},
                  {"set_aside", aside},
                  {"journal_position", status.journal.next > 0 ? status.journal.next - 1 : 0},
                  {"waiting", status.judged.behind},
                  {"troubles", troubles}};
  return body.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void SelfWatch::call_webhook() {
  if (!settings_.webhook) return;
  const auto now = parts_.steady();
  if (called_ && now - *called_ < settings_.webhook->every) return;
  called_ = now;
  const auto problem = messages::call_beat_hook(settings_.webhook->url, settings_.webhook->ca_file, heartbeat(false));
  if (problem && !webhook_fails_) run_events::beat_hook_failed(*problem);
  if (!problem && webhook_fails_) run_events::beat_hook_back();
  webhook_fails_ = problem.has_value();
  const std::lock_guard guard(mutex_);
  if (!problem) calls_.answered = parts_.wall();
  calls_.problem = problem.value_or("");
}

SelfWatch::Calls SelfWatch::calls() const {
  const std::lock_guard guard(mutex_);
  return calls_;
}

}  // namespace driftline
