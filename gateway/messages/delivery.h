// Messages on their way: a thread that plans, a thread for each channel. Between them lies the history alone.
//
// Planning asks plan() and digest() and stores what they say; a key that is there stays as it is. A channel takes what is due,
// drops what nobody needs any more, puts together what belongs together, marks it as handed over, sends it, and stores the
// answer. Killed between any two of these it goes on at the next start: nothing that was planned is forgotten, and what was
// handed over without an answer goes once more and not a third time (message_rows.h).
#pragma once

#include <atomic>
#include <condition_variable>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/messages/channel.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/gateway_says.h"
#include "gateway/messages/links.h"

namespace driftline::messages {

struct DeliveryParts {
  history::History* history = nullptr;  // outlives it
  std::function<Time()> wall;
  std::function<std::unique_ptr<Channel>(const std::string& name)> channel;  // empty: as the duty list says
  std::function<void(const char* step)> between;  // empty but in tests: called between any two steps
  Links links{};                                  // of the warnings' messages
};

// The parts without threads; each call does what is due at `now`.
class Planning {
 public:
  Planning(const DutyList& duty, DeliveryParts& parts) : duty_(duty), parts_(parts) {}
  void step(Time now);

 private:
  bool ready();
  void look_at_warnings(Time now);
  const DutyList& duty_;
  DeliveryParts& parts_;
  std::unique_ptr<history::Reader> reader_;
  std::int64_t life_seen_ = -1, messages_seen_ = -1;
  std::optional<Time> wake_at_;
  std::optional<Time> looked_;
};

class Sending {
 public:
  Sending(std::string name, const DutyList& duty, DeliveryParts& parts);
  // False: nothing was due, or the channel is to be left alone for now.
  bool step(Time now);
  // Set once a channel has been failing for dead_after, empty again when it is back.
  [[nodiscard]] const std::optional<Time>& down_since() const { return down_since_; }
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& why() const { return why_; }

 private:
  bool ready();
  std::vector<Item> due_items(Time now);
  bool send_person(std::vector<Item> items, Time now);
  bool send_bundle(const std::vector<Item>& items, Time now);
  void end(const std::vector<std::int64_t>& ids, const history::History::SendingEnd& end);
  void between(const char* step) const {
    if (parts_.between) parts_.between(step);
  }

  const std::string name_;
  const DutyList& duty_;
  DeliveryParts& parts_;
  std::unique_ptr<Channel> channel_;
  std::unique_ptr<history::Reader> reader_;
  std::optional<Time> down_since_;
  std::string why_;
  std::chrono::seconds wait_{0};
  std::optional<Time> not_before_;
};

class Delivery {
 public:
  Delivery(DutyList duty, DeliveryParts parts);
  ~Delivery();  // as stop()
  Delivery(const Delivery&) = delete;
  Delivery& operator=(const Delivery&) = delete;

  void start();
  void nudge();  // something new; never blocks
  void stop();
  void tell(const GatewaySays& said);  // what cannot be stored is logged
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }

 private:
  bool wait();
  void run_planning();
  void run_sending(Sending& sending);

  const DutyList duty_;
  DeliveryParts parts_;
  std::vector<std::unique_ptr<Sending>> sendings_;
  std::vector<std::thread> threads_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;
  std::atomic<std::uint64_t> pulse_{0};
};

}  // namespace driftline::messages
