// What the gateway found, to the broker: a cursor over an outbox, published at QoS 1 by one thread, in order,
// at least once. The cursor moves only when the broker has confirmed a whole batch; a broker that is away
// costs nothing but waiting, and after a crash the last batch may come twice (retained topics end in the
// right state because the order is kept). Uses a client of its own ("<client id>-out", nothing kept at the
// broker: the outbox is the history).
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gateway/broker/link.h"
#include "gateway/broker/settings.h"

namespace driftline::broker {

// Called by the publishing thread only. `next` gives up to `rows_max` rows after the cursor as messages
// (empty and `rows` 0: nothing waits); `confirmed` moves the cursor past what `next` last gave, and is called
// after the broker's confirmation. `standing` gives what must be retained at a broker that may have lost its
// store; published on each connection before anything else.
struct OutboxPage {
  std::size_t rows = 0;  // may be more than messages.size(): a row need not become a message
  std::vector<Outgoing> messages;
};
struct Outbox {
  std::function<OutboxPage(std::size_t rows_max)> next;
  std::function<void()> confirmed;
  std::function<std::vector<Outgoing>()> standing;  // may be empty
};

// That the gateway lives, retained at heartbeat_topic(): on each connection, each `every` (to about a second), and, with
// `ending`, last of all. The will says {"state":"lost"}. Called by the publishing thread.
struct Heartbeat {
  std::function<std::string(bool ending)> body;
  std::function<std::chrono::nanoseconds()> steady;
  std::chrono::seconds every{30};
};

struct PublisherCounts {
  std::uint64_t published = 0;  // confirmed
  std::uint64_t batches = 0;
  std::uint64_t stops = 0;  // connection failures and unconfirmed batches
  bool operator==(const PublisherCounts&) const = default;
};

class Publisher {
 public:
  Publisher(BrokerSettings settings, Outbox outbox, std::optional<Heartbeat> heartbeat = {});
  ~Publisher();  // as stop()
  Publisher(const Publisher&) = delete;
  Publisher& operator=(const Publisher&) = delete;

  void start();
  void nudge();  // something new waits; any thread, never blocks
  // If connected publishes what waits, batches_at_end at most; then disconnects. Idempotent.
  void stop();

  [[nodiscard]] bool connected() const;
  [[nodiscard]] PublisherCounts counts() const;
  [[nodiscard]] std::uint64_t pulse() const;

 private:
  struct Body;
  std::unique_ptr<Body> body_;
};

}  // namespace driftline::broker
