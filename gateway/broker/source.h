// What the plant's stations publish, into the journal.
//
// The life of a message: the broker sends it; Paho's receiving thread calls us; `take` appends it to the
// journal; the callback returns and Paho sends PUBACK. So the broker's copy goes only once ours is safe, and
// a process that is killed anywhere in between is sent the message again: at least once, duplicates expected.
// (What "safe" means between two syncs is the journal's promise.)
//
// When the journal cannot take a message the callback waits for it, journal_wait_max in all, and then cuts
// the connection (Link::sever): the message is not acknowledged, the broker keeps it and everything behind
// it, and sends both when we are back. We come back with the usual back-off, so a full disk costs a slow loop
// of attempts and no message.
//
// Subscribes to all under telemetry_root and to more_filters. A filter that is taken out of the settings
// stays with the session that the broker keeps under client_id; what comes by it is journalled, and answered
// with faults, until that session ends.
//
// Connects in the background, also when the broker is down at the start; subscribes anew on each connection,
// because a broker that came back without its store keeps the connection but not the subscription. A payload
// over payload_bytes_max is journalled cut to one byte over the bound: enough for the decoder to call it too
// large, live and in a replay.
//
// Presence: retained, at presence_topic(); `online` after each subscription, `offline` by the will or at
// stop().
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string_view>

#include "gateway/broker/settings.h"
#include "rules/records/time.h"

namespace driftline::broker {

// True: the message is in the journal. Called by one thread at a time, inside the library's callback: append
// and return.
using Take = std::function<bool(std::string_view topic, std::string_view payload)>;

struct Clocks {
  std::function<Time()> wall;
  std::function<std::chrono::nanoseconds()> steady;  // to a few ms; read twice a message
};

enum class SourceState : std::uint8_t { stopped, connecting, listening };

struct SourceCounts {
  std::uint64_t received = 0;  // == taken + not_taken
  std::uint64_t taken = 0;
  std::uint64_t not_taken = 0;  // the journal would not; left with the broker
  std::uint64_t cut = 0;        // of taken: payloads over the bound
  std::uint64_t slow = 0;       // callbacks that took longer than callback_slow
  std::uint64_t bytes = 0;      // of payload, received
  std::uint64_t connections = 0;
  std::uint64_t connect_failures = 0;
  bool operator==(const SourceCounts&) const = default;
};

class Source {
 public:
  Source(BrokerSettings settings, Take take, Clocks clocks);
  ~Source();  // as stop()
  Source(const Source&) = delete;
  Source& operator=(const Source&) = delete;

  void start();
  // Says offline, disconnects with the session kept at the broker. `take` is not called after it. Idempotent.
  void stop();

  [[nodiscard]] SourceState state() const;
  [[nodiscard]] SourceCounts counts() const;
  // Rises while the connecting thread is alive and well; for a watchdog.
  [[nodiscard]] std::uint64_t pulse() const;

 private:
  struct Body;
  std::unique_ptr<Body> body_;
};

}  // namespace driftline::broker
