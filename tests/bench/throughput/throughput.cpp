// What the gateway costs over a callback that only counts.
//
//   throughput [--messages N] [--stations N] [--rounds N] [--warnings N] [--viewers N]
//
// A real mosquitto on loopback holds N messages at QoS 1 in a session; a client connects and drains it. Two
// clients take turns, round by round: a bare Paho C++ callback that counts, and the whole gateway (journal,
// judgement of every station, history; everything durable). Each in a process of its own, whose CPU time is
// taken from first to last message; for the gateway until the last message is judged and committed. Both run
// the library with its trace ring off. Draining a full session shows the most that the client can take: no
// publisher stands in the way.
//
// With --viewers a third takes its turn: the gateway with its page and N live feeds open, every tenth watching a station
// (page_load, a process of its own).
//
// Then the delay of a warning: N stations, one after the other, report an empty reservoir; from the sending
// of the message that settles it to the arrival of the change on MQTT. (The reorder window, 30 s of the
// station's own time, is not in it: the samples are sent at once.)
#include <MQTTAsync.h>
#include <mqtt/async_client.h>
#include <spdlog/spdlog.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "gateway/app/clock.h"
#include "gateway/app/run.h"
#include "tests/bench/throughput/plant_telemetry.h"
#include "tests/support/mosquitto.h"
#include "tests/support/mqtt_peer.h"

namespace driftline::bench {
namespace {

using testing::Mosquitto;
using testing::MqttPeer;
using testing::TempFolder;

constexpr const char* client_id = "bench";

struct Options {
  std::uint64_t messages = 300'000;
  int stations = 1000;
  int rounds = 3;
  int warnings = 200;
  int viewers = 0;
};

struct Cost {
  double acknowledged_s = 0;  // first to last message
  double finished_s = 0;      // until the last one is judged and committed
  double cpu_s = 0;
};

double seconds(std::chrono::nanoseconds span) {
  return std::chrono::duration<double>(span).count();
}

// Watches a count from outside: when it leaves 0, and when it has reached `last`.
struct Watch {
  std::chrono::nanoseconds began{}, cpu_began{};
  void first(const std::function<std::uint64_t()>& count) {
    const auto cpu = cpu_now();
    while (count() == 0) std::this_thread::sleep_for(std::chrono::milliseconds{5});
    began = steady_now();
    cpu_began = cpu;
  }
  [[nodiscard]] double reached(const std::function<std::uint64_t()>& count, std::uint64_t last) const {
    while (count() < last) std::this_thread::sleep_for(std::chrono::milliseconds{20});
    return seconds(steady_now() - began);
  }
};

Cost drain_bare(std::uint16_t port, std::uint64_t messages) {
  MQTTAsync_setTraceLevel(MQTTASYNC_TRACE_ERROR);
  std::atomic<std::uint64_t> seen{0};
  mqtt::async_client client("tcp://127.0.0.1:" + std::to_string(port), client_id,
                            mqtt::create_options(MQTTVERSION_5));
  client.set_message_callback(
      [&](const mqtt::const_message_ptr&) { seen.fetch_add(1, std::memory_order_relaxed); });
  mqtt::connect_options options;
  options.set_mqtt_version(MQTTVERSION_5);
  options.set_clean_start(false);
  mqtt::properties properties;
  properties.add({mqtt::property::SESSION_EXPIRY_INTERVAL, 3600});
  options.set_properties(properties);
  Watch watch;
  client.connect(options);
  const auto count = [&] { return seen.load(std::memory_order_relaxed); };
  watch.first(count);
  Cost cost;
  cost.acknowledged_s = cost.finished_s = watch.reached(count, messages);
  cost.cpu_s = seconds(cpu_now() - watch.cpu_began);
  client.disconnect()->wait_for(std::chrono::seconds{5});
  return cost;
}

GatewaySettings settings_for(std::uint16_t port, const std::string& folder) {
  GatewaySettings settings;
  settings.broker.port = port;
  settings.broker.client_id = client_id;
  settings.store.data_folder = folder;
  return settings;
}

// The process id of N viewers on the page.
pid_t start_viewers(const std::string& url, int viewers) {
  const std::string port = url.substr(url.rfind(':') + 1, url.size() - url.rfind(':') - 2);
  const std::string count = std::to_string(viewers);
  const pid_t child = fork();
  if (child != 0) return child;
  execl(PAGE_LOAD, PAGE_LOAD, "feed", port.c_str(), count.c_str(), "3600", static_cast<char*>(nullptr));
  _exit(1);
}

Cost drain_gateway(std::uint16_t port, std::uint64_t messages, int viewers) {
  spdlog::set_level(spdlog::level::err);
  const TempFolder folder;
  GatewaySettings settings = settings_for(port, folder.file("data"));
  if (viewers > 0) settings.web.emplace().port = 0;
  Gateway gateway(std::move(settings));
  Watch watch;
  if (const auto problem = gateway.start()) {
    std::fprintf(stderr, "%s\n", problem->c_str());
    _exit(1);
  }
  const pid_t watching = viewers > 0 ? start_viewers(gateway.page_url(), viewers) : 0;
  const auto taken = [&] { return gateway.status().received.taken; };
  const auto judged = [&] { return gateway.status().judged.messages; };
  watch.first(taken);
  Cost cost;
  cost.acknowledged_s = watch.reached(taken, messages);
  cost.finished_s = watch.reached(judged, messages);
  cost.cpu_s = seconds(cpu_now() - watch.cpu_began);
  const GatewayStatus status = gateway.status();
  std::fprintf(stderr, "  gateway: %llu half-cycles, %llu faults, %llu stations, %llu commits\n",
               static_cast<unsigned long long>(status.judged.half_cycles),
               static_cast<unsigned long long>(status.judged.faults),
               static_cast<unsigned long long>(status.judged.stations),
               static_cast<unsigned long long>(status.judged.commits));
  if (watching > 0) {
    kill(watching, SIGTERM);
    waitpid(watching, nullptr, 0);
  }
  gateway.stop();
  return cost;
}

// In a process of its own, so that its CPU time is its own.
Cost apart(const std::function<Cost()>& work) {
  int ends[2];
  if (pipe(ends) != 0) std::abort();
  const pid_t child = fork();
  if (child == 0) {
    const Cost cost = work();
    _exit(write(ends[1], &cost, sizeof(cost)) == sizeof(cost) ? 0 : 1);
  }
  close(ends[1]);
  Cost cost;
  if (read(ends[0], &cost, sizeof(cost)) != sizeof(cost))
    std::fprintf(stderr, "the measured process failed\n");
  close(ends[0]);
  waitpid(child, nullptr, 0);
  return cost;
}

void fill_session(std::uint16_t port, const Options& options) {
  {
    MqttPeer session(port, client_id, false);
    session.subscribe("grease/#");
  }
  MqttPeer sender(port, "sender");
  for (int i = 0; i < options.stations; ++i) {
    const TimedMessage message = settings_of(i);
    sender.publish(message.topic, message.payload, true);
  }
  TimedMessage message;
  const std::int64_t start_ms =
      ms_since_1970(wall_now()) - static_cast<std::int64_t>(options.messages) / options.stations * 1000;
  for (std::uint64_t n = 0; n + static_cast<std::uint64_t>(options.stations) < options.messages; ++n) {
    telemetry(n, options.stations, start_ms, message);
    sender.publish(message.topic, message.payload);
  }
  sender.flush();
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

struct Series {
  std::vector<double> rate, finished_rate, cpu_per_million;
  void add(const Cost& cost, std::uint64_t messages) {
    const auto n = static_cast<double>(messages);
    rate.push_back(n / cost.acknowledged_s);
    finished_rate.push_back(n / cost.finished_s);
    cpu_per_million.push_back(cost.cpu_s / n * 1e6);
  }
  void tell(const char* name) const {
    std::printf("%-28s %10.0f %14.0f %16.2f\n", name, median(rate), median(finished_rate),
                median(cpu_per_million));
  }
};

// Seconds from the last sample's sending to the warning's arrival, for each station that got one.
std::vector<double> delays(const Options& options) {
  spdlog::set_level(spdlog::level::err);
  Mosquitto mosquitto({.keeps_store = false, .global = {}, .second_listener = {}});
  mosquitto.start();
  const TempFolder folder;
  Gateway gateway(settings_for(mosquitto.port(), folder.file("data")));
  if (gateway.start()) return {};
  MqttPeer watcher(mosquitto.port(), "watcher");
  watcher.subscribe("driftline/changes/#");
  MqttPeer sender(mosquitto.port(), "sender");
  while (gateway.status().source != broker::SourceState::listening || !gateway.status().publisher_connected)
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
  std::vector<double> all;
  for (int station = 0; station < options.warnings; ++station) {
    const std::string topic = "grease/site-01/low-" + std::to_string(station) + "/telemetry";
    const std::int64_t now_ms = ms_since_1970(wall_now());
    std::chrono::nanoseconds sent{};
    for (int i = 12; i >= 0; --i) {
      const std::string time = std::to_string(now_ms - i * 200'000LL);
      sender.publish(
          topic, R"({"time":)" + time +
                     R"(,"pump":false,"line":1,"pressure_bar":[2.0,2.0],"level_pct":4.0,"level_low":true})");
      if (i == 0) sent = steady_now();
    }
    sender.flush();
    for (auto change = watcher.next(1'000); change; change = watcher.next(1'000)) {
      if (change->topic != "driftline/changes/site-01/low-" + std::to_string(station)) continue;
      all.push_back(seconds(steady_now() - sent));
      break;
    }
  }
  gateway.stop();
  std::sort(all.begin(), all.end());
  return all;
}

void tell_delays(const Options& options) {
  const std::vector<double> all = delays(options);
  if (all.empty()) {
    std::printf("no warning arrived\n");
    return;
  }
  const auto at = [&](double share) {
    return 1000 *
           all[std::min(all.size() - 1, static_cast<std::size_t>(share * static_cast<double>(all.size())))];
  };
  std::printf("message to warning on MQTT, %zu of %d stations: median %.0f ms, p95 %.0f ms, most %.0f ms\n",
              all.size(), options.warnings, at(0.5), at(0.95), 1000 * all.back());
}

int measure(const Options& options) {
  if (options.rounds == 0) return tell_delays(options), 0;
  Series bare, gateway, viewed;
  for (int round = 0; round < options.rounds; ++round) {
    for (const int kind : {0, 1, 2}) {
      if (kind == 2 && options.viewers == 0) continue;
      Mosquitto mosquitto({.keeps_store = false, .global = {}, .second_listener = {}});
      mosquitto.start();
      fill_session(mosquitto.port(), options);
      const std::uint16_t port = mosquitto.port();
      const Cost cost = apart(
          [&] { return kind > 0 ? drain_gateway(port, options.messages, kind == 2 ? options.viewers : 0) : drain_bare(port, options.messages); });
      (kind == 0 ? bare : kind == 1 ? gateway : viewed).add(cost, options.messages);
      std::fprintf(stderr, "round %d %s: %.2f s, finished %.2f s, CPU %.2f s\n", round + 1,
                   kind == 0 ? "bare   " : kind == 1 ? "gateway" : "viewed ", cost.acknowledged_s, cost.finished_s, cost.cpu_s);
    }
  }
  std::printf("%-28s %10s %14s %16s\n", "median of rounds", "messages/s", "judged, msg/s", "CPU s / million");
  bare.tell("bare Paho C++ callback");
  gateway.tell("gateway, everything durable");
  std::printf("%-28s %9.0f%% %13.0f%% %15.2fx\n", "gateway / bare",
              100 * median(gateway.rate) / median(bare.rate),
              100 * median(gateway.finished_rate) / median(bare.rate),
              median(gateway.cpu_per_million) / median(bare.cpu_per_million));
  if (options.viewers > 0) {
    viewed.tell("gateway with viewers");
    std::printf("%-28s %9.0f%% %13.0f%% %15.2fx\n", "with / without viewers", 100 * median(viewed.rate) / median(gateway.rate),
                100 * median(viewed.finished_rate) / median(gateway.finished_rate), median(viewed.cpu_per_million) / median(gateway.cpu_per_million));
  }
  if (options.warnings > 0) tell_delays(options);
  return 0;
}

}  // namespace
}  // namespace driftline::bench

int main(int argc, char** argv) {
  driftline::bench::Options options;
  for (int i = 1; i + 1 < argc; i += 2) {
    if (std::strcmp(argv[i], "--messages") == 0) options.messages = std::stoull(argv[i + 1]);
    if (std::strcmp(argv[i], "--stations") == 0) options.stations = std::stoi(argv[i + 1]);
    if (std::strcmp(argv[i], "--warnings") == 0) options.warnings = std::stoi(argv[i + 1]);
    if (std::strcmp(argv[i], "--viewers") == 0) options.viewers = std::stoi(argv[i + 1]);
    if (std::strcmp(argv[i], "--rounds") == 0) options.rounds = std::stoi(argv[i + 1]);
  }
  return driftline::bench::measure(options);
}
