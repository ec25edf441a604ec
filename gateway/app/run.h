// The running gateway: broker -> journal -> judgement -> history -> broker, as one object that starts and
// stops, so that tests run the whole of it in their own process.
//
// Threads: the library's two (receiving, sending), the source's and the publisher's (connecting, publishing),
// the journal's (syncing), the judging one, and those of other consumers of the history. They meet in the
// journal, in the history and in a few notifications that never block.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/clean_ups.h"
#include "gateway/app/intake.h"
#include "gateway/app/judging.h"
#include "gateway/app/plant.h"
#include "gateway/broker/acts.h"
#include "gateway/broker/publisher.h"
#include "gateway/broker/settings.h"
#include "gateway/broker/source.h"
#include "gateway/history/history.h"
#include "gateway/journal/journal.h"
#include "gateway/messages/gateway_says.h"
#include "gateway/web/settings.h"

namespace driftline::messages {
struct DutyList;
}
namespace driftline::web {
struct HeartbeatNow;
}

namespace driftline {

// Where the two logs lie and how long they keep. A change of it needs a restart.
struct StoreSettings {
  std::string data_folder = "data";
  std::chrono::milliseconds sync_every{200};      // what a power cut can cost; 0: each message is synced
  std::uint64_t journal_bytes_max = 16ULL << 30;  // what may wait; beyond it the broker keeps it
  std::uint64_t journal_keep_bytes = 1ULL << 30;  // what nobody needs any more
  std::chrono::hours journal_keep_for{24 * 7};
  std::chrono::hours keep_half_cycles{24 * 730};
  std::chrono::hours keep_warnings{24 * 1826};
  std::chrono::hours keep_faults{24 * 60};
  bool operator==(const StoreSettings&) const = default;
};

// A further consumer of the history: a cursor of its own, a thread of its own.
struct Consumer {
  std::string name;                      // of its cursor, and in the log
  std::function<void()> nudge;           // something new; must not block
  std::function<void()> stop;            // ends its thread
  std::function<std::uint64_t()> pulse;  // may be empty: not watched
  std::function<bool(const messages::GatewaySays&)> tell{};  // to people, false: not stored; may be empty: it reaches none
  std::function<std::optional<std::string>()> trouble{};     // why it cannot get rid of what it has; may be empty
};
struct ConsumerMaker {
  history::CursorUse cursor;
  std::function<Consumer(history::History&)> start;
};

// How others know that the gateway lives.
struct HeartbeatSettings {
  struct Webhook {
    std::string url;
    std::optional<std::string> ca_file;
    std::chrono::minutes every{5};
    bool operator==(const Webhook&) const = default;
  };
  std::chrono::seconds every{30};  // on MQTT
  std::optional<Webhook> webhook;
  bool operator==(const HeartbeatSettings&) const = default;
};

struct EffectiveThreshold;  // gateway/app/config.h
class PagePart;
namespace trial {
class SilentJudge;
}
class ActDesk;
class ActSocket;
class SelfWatch;

struct GatewaySettings {
  broker::BrokerSettings broker;
  PlantSettings plant;
  StoreSettings store;
  std::vector<ConsumerMaker> consumers;
  std::optional<web::WebSettings> web{};  // empty: no page
  HeartbeatSettings heartbeat{};
  // Where the thresholds of a station come from; may be empty.
  std::function<std::vector<EffectiveThreshold>(const StationId&)> explain{};
  std::string config_folder{};          // proposals are written there; empty: none
  std::function<void()> ask_reload{};   // after a proposal was put in force or taken back; may be empty
  std::shared_ptr<const messages::DutyList> duty{};  // for the page, null: none; who sends is a consumer
};

// A thread, seen from outside: it lives as long as its number moves.
struct Pulse {
  std::string name;
  std::uint64_t beats = 0;
};

struct GatewayStatus {
  broker::SourceState source = broker::SourceState::stopped;
  broker::SourceCounts received;
  bool publisher_connected = false;
  broker::PublisherCounts published;
  JudgingCounts judged;
  journal::JournalStatus journal;
};

class Gateway {
 public:
  explicit Gateway(GatewaySettings settings);
  ~Gateway();  // as stop()
  Gateway(const Gateway&) = delete;
  Gateway& operator=(const Gateway&) = delete;

  // Empty: it runs (connecting to the broker goes on in the background). Otherwise why not; nothing is left
  // behind.
  [[nodiscard]] std::optional<std::string> start();
  // Clean end: no more messages are taken, what is in the journal is judged and committed, what is to be
  // published is published if the broker is there, `offline` is said. Idempotent.
  void stop();
  // All or nothing: on a problem everything runs on as it was.
  [[nodiscard]] std::optional<std::string> reload(GatewaySettings settings);
  // To people, before stop(): waits for it to leave, end_told_wait at most.
  void tell_end(const std::string& why);
  // Into the history's log; what cannot be written is said and not tried again before the next start or reload.
  void note(const std::vector<history::RolloutRow>& rollouts);

  // Why it must be ended; empty: all is well.
  [[nodiscard]] std::optional<std::string> failure() const;
  [[nodiscard]] GatewayStatus status() const;
  [[nodiscard]] std::vector<Pulse> pulses() const;
  [[nodiscard]] const GatewaySettings& settings() const { return settings_; }
  [[nodiscard]] std::string page_url() const;  // empty: there is none

 private:
  [[nodiscard]] std::optional<std::string> open_stores();
  [[nodiscard]] std::optional<std::string> open_judging();
  [[nodiscard]] std::optional<std::string> open_page();
  void open_acts();
  [[nodiscard]] std::shared_ptr<PagePart> page() const;
  void start_silent();
  [[nodiscard]] rules::StationContext context_of(const StationId& station) const;
  void start_source();
  void stop_source();
  void start_consumers();
  void stop_consumers();
  void start_self_watch();
  [[nodiscard]] bool tell(const messages::GatewaySays& said);
  [[nodiscard]] std::optional<std::string> output_trouble();
  void nudge();

  GatewaySettings settings_;
  std::unique_ptr<history::History> history_;
  std::unique_ptr<journal::Journal> journal_;
  std::unique_ptr<Intake> intake_;
  std::unique_ptr<Judging> judging_;
  std::unique_ptr<ActDesk> acts_desk_;
  std::unique_ptr<ActSocket> act_socket_;
  [[nodiscard]] std::optional<web::HeartbeatNow> heartbeat_now() const;
  std::shared_ptr<SelfWatch> self_watch_;
  std::atomic<bool> consumers_change_{false};  // a reload replaces them
  mutable std::mutex ends_mutex_;  // source_, publisher_, acts_, consumers_, in_force_: a reload replaces them
  std::unique_ptr<broker::Source> source_;
  std::unique_ptr<broker::Publisher> publisher_;
  std::unique_ptr<broker::Acts> acts_;
  std::vector<Consumer> consumers_;
  std::shared_ptr<PagePart> page_;
  std::shared_ptr<const PlantSettings> in_force_;
  std::unique_ptr<trial::SilentJudge> silent_;
  std::unique_ptr<CleanUps> clean_ups_;
};

// What is wrong with them before anything is opened: roots that are none, output under the telemetry root,
// ...
[[nodiscard]] std::optional<std::string> problem_of(const GatewaySettings& settings);

}  // namespace driftline
