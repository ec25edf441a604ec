#include "gateway/broker/acts.h"

#include <array>
#include <atomic>
#include <deque>
#include <mutex>
#include <thread>
#include <utility>

#include "gateway/broker/events.h"
#include "gateway/broker/limits.h"
#include "gateway/broker/link.h"
#include "gateway/broker/rejoin.h"
#include "gateway/broker/topics.h"

namespace driftline::broker {

using std::chrono::milliseconds;

struct Acts::Body {
  BrokerSettings settings;
  std::size_t bytes_max = 0;
  Answer answer;
  Signal signal;
  std::atomic<bool> connected{false};
  std::atomic<std::uint64_t> pulse{0};
  std::mutex mutex;
  std::deque<std::string> waiting;  // under mutex
  std::deque<Outgoing> answers;     // not yet confirmed by the broker
  std::unique_ptr<Link> link;
  std::thread thread;

  void take(std::string_view question) noexcept;
  std::optional<std::string> next();
  std::optional<LinkFailure> join();
  std::optional<LinkFailure> publish_answers();
  std::optional<LinkFailure> work();
  void stay();
  void run();
};

// Called by the library: no more than a copy.
void Acts::Body::take(std::string_view question) noexcept {
  bool full = false;
  try {
    const std::lock_guard guard(mutex);
    full = waiting.size() >= acts_waiting_max;
    if (!full) waiting.emplace_back(question.substr(0, bytes_max + 1));
  } catch (const std::exception&) {
    full = true;
  }
  if (full) events::act_dropped(settings.client_id);
  signal.nudge();
}

std::optional<std::string> Acts::Body::next() {
  const std::lock_guard guard(mutex);
  if (waiting.empty()) return std::nullopt;
  std::string question = std::move(waiting.front());
  waiting.pop_front();
  return question;
}

std::optional<LinkFailure> Acts::Body::join() {
  signal.forget_loss();
  if (auto failure = link->connect()) return failure;
  return link->subscribe(acts_topic(settings.output_root, settings.client_id));
}

std::optional<LinkFailure> Acts::Body::publish_answers() {
  while (!answers.empty()) {
    const std::array one{answers.front()};
    if (auto failure = link->publish(one, confirm_max)) return failure;
    answers.pop_front();
  }
  return std::nullopt;
}

std::optional<LinkFailure> Acts::Body::work() {
  if (auto failure = publish_answers()) return failure;
  while (!signal.stopping()) {
    const auto question = next();
    if (!question) return std::nullopt;
    answers.push_back({answers_topic(settings.output_root, settings.client_id), answer(*question), false});
    if (auto failure = publish_answers()) return failure;
    signal.sleep(act_spacing);
    ++pulse;
  }
  return std::nullopt;
}

void Acts::Body::stay() {
  connected = true;
  events::connected(link->client_id(), settings.host + ":" + std::to_string(settings.port), std::nullopt);
  std::optional<LinkFailure> failure;
  while (!failure && !signal.stopping()) {
    ++pulse;
    failure = work();
    if (!failure) failure = signal.lost();
    if (!failure) signal.wait(milliseconds{1000});
  }
  connected = false;
  if (failure) events::connection_lost(link->client_id(), *failure);
  link->disconnect();
}

void Acts::Body::run() {
  Patience patience({static_cast<double>(settings.retry_s_min), static_cast<double>(settings.retry_s_max)});
  while (!signal.stopping()) {
    ++pulse;
    const auto failure = join();
    if (!failure) {
      patience.succeeded();
      stay();
    } else {
      link->disconnect();
    }
    if (signal.stopping()) return;
    const double wait_s = patience.failed();
    if (failure) events::connect_failed(link->client_id(), *failure, wait_s);
    signal.sleep(as_ms(wait_s));
  }
}

Acts::Acts(BrokerSettings settings, std::size_t bytes_max, Answer answer) : body_(std::make_unique<Body>()) {
  body_->settings = std::move(settings);
  body_->settings.payload_bytes_max = bytes_max;  // with a packet's overhead: what is far over it the broker does not send
  body_->bytes_max = bytes_max;
  body_->answer = std::move(answer);
}

Acts::~Acts() {
  stop();
}

void Acts::start() {
  Body& body = *body_;
  if (body.thread.joinable()) return;
  body.link = std::make_unique<Link>(
      body.settings, body.settings.client_id + "-acts", Session::fresh, std::nullopt,
      LinkHandlers{[&body](std::string_view, std::string_view payload) { body.take(payload); },
                   [&body](const LinkFailure& failure) { body.signal.lose(failure); }});
  body.thread = std::thread([&body] { body.run(); });
}

void Acts::stop() {
  body_->signal.stop();
  if (body_->thread.joinable()) body_->thread.join();
  body_->link.reset();
}

bool Acts::connected() const {
  return body_->connected;
}
std::uint64_t Acts::pulse() const {
  return body_->pulse;
}

}  // namespace driftline::broker
