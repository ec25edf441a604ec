// Messages on their way: a thread that plans, a thread for each channel. Between them lies the history alone.
//
// Planning asks plan() and digest() and stores what they say; a key that is there stays as it is. Each channel's Sending does the
// rest.
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
#include "gateway/messages/duty.h"
#include "gateway/messages/plan.h"
#include "gateway/messages/sending.h"

namespace driftline::messages {

// Without a thread; each call does what is due at `now`.
class Planning {
 public:
  Planning(const DutyList& duty, DeliveryParts& parts) : duty_(duty), parts_(parts) {}
  void step(Time now);
  void look_again() { look_again_ = true; }  // from any thread: what was sent may call for more

 private:
  bool ready();
  void look_at_warnings(Time now);
  void add_digest(std::vector<MessageRow>& rows, const LifeRows& lives, const std::vector<KeptMessage>& told, Time now);
  const DutyList& duty_;
  DeliveryParts& parts_;
  std::unique_ptr<history::Reader> reader_;
  std::int64_t life_seen_ = -1, messages_seen_ = -1;
  std::optional<Time> wake_at_;
  std::optional<Time> looked_;
  std::atomic<bool> look_again_{false};
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
  bool tell(const GatewaySays& said);  // false: it could not be stored, and is logged
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }

 private:
  bool wait();
  void run_planning();
  void run_sending(Sending& sending);

  const DutyList duty_;
  DeliveryParts parts_;
  Planning planning_{duty_, parts_};
  std::vector<std::unique_ptr<Sending>> sendings_;
  std::vector<std::thread> threads_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;
  std::atomic<std::uint64_t> pulse_{0};
};

}  // namespace driftline::messages
