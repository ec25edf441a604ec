#include "gateway/app/verb_run.h"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <cerrno>
#include <csignal>
#include <ctime>
#include <ostream>

#include "gateway/app/clock.h"
#include "gateway/app/health.h"
#include "gateway/app/rollout.h"
#include "gateway/app/run_events.h"
#include "gateway/app/run_limits.h"
#include "gateway/app/service_manager.h"
#include "gateway/broker/topics.h"
#include "gateway/events/events.h"

namespace driftline {
namespace {

constexpr int ended_well = 0, failed_running = 1, could_not_start = 2;

// Signals are taken by this thread alone: blocked before the others are made, which inherit that.
sigset_t block_signals() {
  sigset_t taken;
  sigemptyset(&taken);
  for (const int number : {SIGTERM, SIGINT, SIGHUP}) sigaddset(&taken, number);
  pthread_sigmask(SIG_BLOCK, &taken, nullptr);
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);  // a file that may grow no more is an answer to write(2), not an end
  return taken;
}

// 0: none within a second.
int next_signal(const sigset_t& taken) {
  const timespec second{1, 0};
  const int number = sigtimedwait(&taken, nullptr, &second);
  return number > 0 ? number : 0;
}

std::string mapped_text(std::size_t filters) {
  if (filters == 0) return "";
  return filters == 1 ? " and a mapped topic" : " and " + std::to_string(filters) + " mapped topics";
}

std::string what_is_watched(const GatewaySettings& settings) {
  const broker::BrokerSettings& mqtt = settings.broker;
  return "watching " + broker::telemetry_filter(mqtt.telemetry_root) + mapped_text(mqtt.more_filters.size()) +
         " at " + mqtt.host + ":" + std::to_string(mqtt.port) + (mqtt.tls ? " (TLS)" : "") + " as " +
         mqtt.client_id + ", " + std::to_string(settings.plant.stations.size()) + " stations configured" +
         (settings.plant.watch_unknown_stations ? ", others with defaults" : ", no others") + ", data in " +
         settings.store.data_folder + ", warnings to " + mqtt.output_root + "/warnings/#";
}

std::string joined(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += (text.empty() ? "" : "; ") + line;
  return text;
}

std::string text_of_changes(const std::vector<std::string>& changes) {
  constexpr std::size_t told = 10;
  if (changes.empty()) return "no threshold and no station has changed";
  std::string text;
  for (std::size_t i = 0; i < std::min(changes.size(), told); ++i) text += (i == 0 ? "" : "; ") + changes[i];
  return changes.size() <= told ? text : text + "; and " + std::to_string(changes.size() - told) + " more stations";
}

class Running {
 public:
  Running(Gateway& gateway, LoadSettings load) : gateway_(gateway), load_(std::move(load)) {}

  int until_told(const sigset_t& taken) {
    manager_.ready(what_is_watched(gateway_.settings()));
    for (;;) {
      const int number = next_signal(taken);
      if (number == SIGHUP) reload();
      if (number == SIGTERM || number == SIGINT) return end(number == SIGTERM ? "SIGTERM" : "SIGINT");
      look_after();
      if (const auto why = gateway_.failure()) return give_up(*why);
    }
  }

 private:
  void look_after() {
    const auto now = steady_now();
    const auto hangs = manager_.watch(gateway_.pulses(), now);
    if (hangs) run_events::thread_hangs(*hangs);
    events::flush();
    if (now < next_health_) return;
    next_health_ = now + health_every;
    const GatewayStatus status = gateway_.status();
    (void)write_health(gateway_.settings().store.data_folder, status, !hangs, wall_now());
    manager_.status(status_line(status));
  }

  void reload() {
    manager_.reloading();
    LoadedSettings loaded = load_();
    std::optional<std::string> problem;
    std::vector<std::string> changes;
    if (!loaded.settings) {
      problem = joined(loaded.problems);
    } else {
      changes = rollout::changes_between(gateway_.settings().plant, loaded.settings->plant);
      problem = gateway_.reload(std::move(*loaded.settings));
    }
    const std::string what = what_is_watched(gateway_.settings());
    if (problem) {
      run_events::reload_refused(*problem);
    } else {
      run_events::reloaded(what + "; " + text_of_changes(changes));
      if (!changes.empty()) loaded.rollouts.push_back(rollout::reload_row(changes, wall_now()));
      gateway_.note(loaded.rollouts);
    }
    manager_.ready(problem ? "reload refused, running as before: " + *problem : what);
  }

  int end(const std::string& why) {
    run_events::stopping(why);
    manager_.stopping();
    gateway_.tell_end(why);
    gateway_.stop();
    remove_health(gateway_.settings().store.data_folder);
    events::flush(true);  // sums of what was folded, before the last line
    run_events::stopped();
    return ended_well;
  }

  int give_up(const std::string& why) {
    run_events::failed(why);
    (void)write_health(gateway_.settings().store.data_folder, gateway_.status(), false, wall_now());
    manager_.stopping();
    gateway_.tell_end(why);
    gateway_.stop();
    events::flush(true);
    return failed_running;
  }

  Gateway& gateway_;
  const LoadSettings load_;
  ServiceManager manager_;
  std::chrono::nanoseconds next_health_{};
};

}  // namespace

int run_gateway(const LoadSettings& load, std::ostream& out, std::ostream& err) {
  const sigset_t taken = block_signals();
  spdlog::set_default_logger(
      std::make_shared<spdlog::logger>("driftline", std::make_shared<spdlog::sinks::stderr_sink_mt>()));
  LoadedSettings loaded = load();
  if (!loaded.settings) {
    for (const std::string& problem : loaded.problems) err << problem << '\n';
    return could_not_start;
  }
  Gateway gateway(std::move(*loaded.settings));
  if (const auto problem = gateway.start()) {
    err << *problem << '\n';
    return could_not_start;
  }
  gateway.note(loaded.rollouts);
  const std::string what = what_is_watched(gateway.settings());
  run_events::started(what);
  out << "driftline runs: " << what << std::endl;
  if (const std::string page = gateway.page_url(); !page.empty()) out << "the page: " << page << std::endl;
  return Running(gateway, load).until_told(taken);
}

int tell_health(const std::string& data_folder, std::ostream& out) {
  const Health health = read_health(data_folder, wall_now());
  out << health.text << '\n';
  return health.good ? 0 : 1;
}

}  // namespace driftline
