#include "gateway/broker/publisher.h"

#include <array>
#include <atomic>
#include <exception>
#include <thread>

#include "gateway/broker/events.h"
#include "gateway/broker/limits.h"
#include "gateway/broker/rejoin.h"
#include "gateway/broker/topics.h"

namespace driftline::broker {

using std::chrono::milliseconds;

struct Publisher::Body {
  BrokerSettings settings;
  Outbox outbox;
  std::optional<Heartbeat> heartbeat;
  std::chrono::nanoseconds beaten{};  // since when the last one stands
  Signal signal;
  std::atomic<bool> connected{false};
  std::atomic<std::uint64_t> published{0}, batches{0}, stops{0}, pulse{0};
  std::unique_ptr<Link> link;
  std::thread thread;

  std::optional<LinkFailure> publish_standing();
  std::optional<LinkFailure> beat(bool ending);
  std::optional<LinkFailure> beat_if_due();
  std::optional<LinkFailure> publish_page(const OutboxPage& page);
  std::optional<LinkFailure> publish_waiting(std::size_t batches_max);
  void stay();
  void run();
};

std::optional<LinkFailure> Publisher::Body::publish_standing() {
  if (!outbox.standing) return std::nullopt;
  const std::vector<Outgoing> messages = outbox.standing();
  if (messages.empty()) return std::nullopt;
  return link->publish(messages, confirm_max);
}

std::optional<LinkFailure> Publisher::Body::beat(bool ending) {
  if (!heartbeat) return std::nullopt;
  beaten = heartbeat->steady();
  const std::array one{Outgoing{heartbeat_topic(settings.output_root, settings.client_id), heartbeat->body(ending), true}};
  return link->publish(one, ending ? disconnect_max : confirm_max);
}

std::optional<LinkFailure> Publisher::Body::beat_if_due() {
  if (!heartbeat || heartbeat->steady() - beaten < heartbeat->every) return std::nullopt;
  return beat(false);
}

std::optional<LinkFailure> Publisher::Body::publish_page(const OutboxPage& page) {
  if (!page.messages.empty()) {
    if (auto failure = link->publish(page.messages, confirm_max)) return failure;
  }
  outbox.confirmed();
  published += page.messages.size();
  ++batches;
  events::published(page.messages.size());
  return std::nullopt;
}

std::optional<LinkFailure> Publisher::Body::publish_waiting(std::size_t batches_max) {
  for (std::size_t i = 0; i < batches_max; ++i) {
    ++pulse;
    if (auto lost = signal.lost()) return lost;
    const OutboxPage page = outbox.next(rows_per_batch);
    if (page.rows == 0) return std::nullopt;
    if (auto failure = publish_page(page)) return failure;
  }
  return std::nullopt;
}

void Publisher::Body::stay() {
  connected = true;
  events::connected(link->client_id(), settings.host + ":" + std::to_string(settings.port), std::nullopt);
  std::optional<LinkFailure> failure = publish_standing();
  if (!failure) failure = beat(false);
  while (!failure && !signal.stopping()) {
    failure = publish_waiting(batches_between_looks);
    if (!failure) failure = beat_if_due();
    if (!failure) failure = signal.lost();
    if (!failure) signal.wait(milliseconds{1000});
    if (!failure) signal.sleep(look_spacing);
  }
  if (!failure) failure = publish_waiting(batches_at_end);
  if (!failure) failure = beat(true);
  connected = false;
  if (failure) {
    ++stops;
    events::publishing_stopped(link->client_id(), *failure);
  }
  link->disconnect();
}

void Publisher::Body::run() {
  Patience patience({static_cast<double>(settings.retry_s_min), static_cast<double>(settings.retry_s_max)});
  while (!signal.stopping()) {
    ++pulse;
    signal.forget_loss();
    const auto failure = link->connect();
    if (!failure) {
      const std::uint64_t before = batches;
      stay();
      if (batches != before)
        patience.succeeded();  // connected and yet nothing confirmed: no reason for haste
    } else {
      ++stops;
    }
    if (signal.stopping()) return;
    const double wait_s = patience.failed();
    if (failure) events::connect_failed(link->client_id(), *failure, wait_s);
    signal.sleep(as_ms(wait_s));
  }
}

Publisher::Publisher(BrokerSettings settings, Outbox outbox, std::optional<Heartbeat> heartbeat) : body_(std::make_unique<Body>()) {
  body_->settings = std::move(settings);
  body_->outbox = std::move(outbox);
  body_->heartbeat = std::move(heartbeat);
}

Publisher::~Publisher() {
  stop();
}

void Publisher::start() {
  Body& body = *body_;
  if (body.thread.joinable()) return;
  std::optional<Will> will;
  if (body.heartbeat) will = Will{heartbeat_topic(body.settings.output_root, body.settings.client_id), R"({"state":"lost"})"};
  body.link = std::make_unique<Link>(
      body.settings, body.settings.client_id + "-out", Session::fresh, std::move(will),
      LinkHandlers{[](std::string_view, std::string_view) {},
                   [&body](const LinkFailure& failure) { body.signal.lose(failure); }});
  body.thread = std::thread([&body] { body.run(); });
}

void Publisher::nudge() {
  body_->signal.nudge();
}

void Publisher::stop() {
  body_->signal.stop();
  if (body_->thread.joinable()) body_->thread.join();
  body_->link.reset();
}

bool Publisher::connected() const {
  return body_->connected;
}
PublisherCounts Publisher::counts() const {
  return {body_->published, body_->batches, body_->stops};
}
std::uint64_t Publisher::pulse() const {
  return body_->pulse;
}

}  // namespace driftline::broker
