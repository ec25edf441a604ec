#include "gateway/broker/source.h"

#include <array>
#include <exception>
#include <string>
#include <thread>
#include <utility>

#include "gateway/broker/events.h"
#include "gateway/broker/limits.h"
#include "gateway/broker/link.h"
#include "gateway/broker/rejoin.h"
#include "gateway/broker/topics.h"
#include "rules/records/time_text.h"

namespace driftline::broker {
namespace {

using std::chrono::milliseconds;

struct Counters {
  std::atomic<std::uint64_t> received{0}, taken{0}, not_taken{0}, cut{0}, slow{0}, bytes{0}, connections{0},
      failures{0};
};

// One writer, the library's receiving thread: no need of a locked add.
void add(std::atomic<std::uint64_t>& counter, std::uint64_t n = 1) {
  counter.store(counter.load(std::memory_order_relaxed) + n, std::memory_order_relaxed);
}

}  // namespace

struct Source::Body {
  BrokerSettings settings;
  Take take;
  Clocks clocks;
  Counters counters;
  Signal signal;
  std::atomic<SourceState> state{SourceState::stopped};
  std::atomic<std::uint64_t> pulse{0};
  std::atomic<bool> severed{false};
  std::uint64_t refused_in_a_row = 0;  // library's thread only
  std::unique_ptr<Link> link;
  std::thread thread;

  [[nodiscard]] std::string broker() const { return settings.host + ":" + std::to_string(settings.port); }
  [[nodiscard]] std::string presence() const {
    return presence_topic(settings.output_root, settings.client_id);
  }

  void on_message(std::string_view topic, std::string_view payload) noexcept;
  bool try_take(std::string_view topic, std::string_view payload) noexcept;
  bool take_patiently(std::string_view topic, std::string_view payload);
  std::string_view bounded(std::string_view topic, std::string_view payload);
  void note_duration(std::chrono::nanoseconds began);
  std::optional<LinkFailure> join();
  void stay();
  void run();
  void say_offline();
};

bool Source::Body::try_take(std::string_view topic, std::string_view payload) noexcept {
  try {
    return take(topic, payload);
  } catch (const std::exception& thrown) {
    events::callback_threw(thrown.what());
  } catch (...) {
    events::callback_threw("something that is not an exception");
  }
  return false;
}

// Holding the callback is all the back-pressure there is; see journal_wait_max for why it ends.
bool Source::Body::take_patiently(std::string_view topic, std::string_view payload) {
  if (try_take(topic, payload)) return true;
  events::journal_refuses(topic);
  for (milliseconds waited{0}; waited < journal_wait_max; waited += journal_wait_step) {
    if (!signal.sleep(journal_wait_step)) return false;
    if (try_take(topic, payload)) return true;
  }
  return false;
}

std::string_view Source::Body::bounded(std::string_view topic, std::string_view payload) {
  if (payload.size() <= settings.payload_bytes_max) return payload;
  add(counters.cut);
  events::payload_cut(topic, payload.size(), settings.payload_bytes_max);
  return payload.substr(0, settings.payload_bytes_max + 1);
}

void Source::Body::note_duration(std::chrono::nanoseconds began) {
  const auto took = clocks.steady() - began;
  if (took <= callback_slow) return;
  add(counters.slow);
  events::callback_slow(std::chrono::duration_cast<milliseconds>(took));
}

void Source::Body::on_message(std::string_view topic, std::string_view payload) noexcept {
  const auto began = clocks.steady();
  add(counters.received);
  add(counters.bytes, payload.size());
  if (take_patiently(topic, bounded(topic, payload))) {
    add(counters.taken);
    if (refused_in_a_row > 0) events::journal_takes_again(std::exchange(refused_in_a_row, 0));
  } else {
    add(counters.not_taken);
    ++refused_in_a_row;
    events::message_left_with_broker(topic);
    severed = true;
    link->sever();
  }
  note_duration(began);
}

std::optional<LinkFailure> Source::Body::join() {
  signal.forget_loss();
  if (auto failure = link->connect()) return failure;
  if (auto failure = link->subscribe(telemetry_filter(settings.telemetry_root))) return failure;
  for (const std::string& filter : settings.more_filters)
    if (auto failure = link->subscribe(filter)) return failure;
  const std::array online{
      Outgoing{presence(), R"({"state":"online","time":")" + rfc3339(clocks.wall()) + "\"}", true}};
  return link->publish(online, confirm_max);
}

void Source::Body::say_offline() {
  const std::array offline{
      Outgoing{presence(), R"({"state":"offline","time":")" + rfc3339(clocks.wall()) + "\"}", true}};
  (void)link->publish(offline, disconnect_max);  // failing, the connection is gone and the will has said it
}

void Source::Body::stay() {
  state = SourceState::listening;
  counters.connections += 1;
  events::connected(settings.client_id, broker(), link->session_present());
  while (!signal.stopping() && !signal.lost()) {
    signal.wait(milliseconds{1000});
    ++pulse;
  }
  state = SourceState::connecting;
  if (const auto lost = signal.lost()) events::connection_lost(settings.client_id, *lost);
}

void Source::Body::run() {
  Patience patience({static_cast<double>(settings.retry_s_min), static_cast<double>(settings.retry_s_max)});
  state = SourceState::connecting;
  while (!signal.stopping()) {
    ++pulse;
    const auto failure = join();
    if (!failure) {
      // A connection that we cut ourselves because of the journal is a failure too: no hurry to come back.
      if (!severed.exchange(false)) patience.succeeded();
      stay();
      if (signal.stopping()) break;
    } else {
      counters.failures += 1;
      link->disconnect();
    }
    const double wait_s = patience.failed();
    if (failure) events::connect_failed(settings.client_id, *failure, wait_s);
    signal.sleep(as_ms(wait_s));
  }
  if (!signal.lost()) say_offline();
  link->disconnect();
  state = SourceState::stopped;
  events::disconnected(settings.client_id);
}

Source::Source(BrokerSettings settings, Take take, Clocks clocks) : body_(std::make_unique<Body>()) {
  body_->settings = std::move(settings);
  body_->take = std::move(take);
  body_->clocks = std::move(clocks);
}

Source::~Source() {
  stop();
}

void Source::start() {
  Body& body = *body_;
  if (body.thread.joinable()) return;
  body.link = std::make_unique<Link>(
      body.settings, body.settings.client_id, Session::kept, Will{body.presence(), R"({"state":"offline"})"},
      LinkHandlers{
          [&body](std::string_view topic, std::string_view payload) { body.on_message(topic, payload); },
          [&body](const LinkFailure& failure) { body.signal.lose(failure); }});
  body.thread = std::thread([&body] { body.run(); });
}

void Source::stop() {
  body_->signal.stop();
  if (body_->thread.joinable()) body_->thread.join();
  body_->link.reset();
}

SourceState Source::state() const {
  return body_->state;
}

SourceCounts Source::counts() const {
  const Counters& c = body_->counters;
  return {c.received, c.taken, c.not_taken, c.cut, c.slow, c.bytes, c.connections, c.failures};
}

std::uint64_t Source::pulse() const {
  return body_->pulse;
}

}  // namespace driftline::broker
