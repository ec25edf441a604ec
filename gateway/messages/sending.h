// One channel's way from the history to the other side. Takes what is due, drops what nobody needs any more, puts together what
// belongs together, marks it as handed over, sends it, and stores the answer. Killed between any two of these it goes on at the
// next start: nothing that was planned is forgotten, and what was handed over without an answer goes once more and not a third
// time (message_rows.h). A channel that fails waits longer and longer, and so does a single address; each tells people of it.
#pragma once

#include <atomic>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/messages/bundles.h"
#include "gateway/messages/channel.h"
#include "gateway/messages/details.h"
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
  Facts facts{};
};

using Lives = std::map<history::WarningRef, rules::Life>;

// One thread, but for stop().
class Sending {
 public:
  Sending(std::string name, const DutyList& duty, DeliveryParts& parts);
  // False: nothing was sent; nothing is due, or all that is has to wait.
  bool step(Time now);
  // What people must hear of the channel itself, each once.
  [[nodiscard]] std::vector<GatewaySays> to_tell(Time now);
  void stop() {
    stopped_ = true;
    if (channel_) channel_->stop();
  }
  [[nodiscard]] const std::string& name() const { return name_; }

 private:
  struct Hold {
    Time since{};
    Time not_before{};
    std::chrono::seconds wait{0};
    std::string why;
    bool told = false;
  };
  bool ready();
  bool held(const std::string& person, Time now) const;
  std::vector<Item> due_items(const std::string& person, const Lives& lives, Time now);
  bool send_person(const std::string& person, const std::vector<Item>& items, Time now);
  Sent send_bundle(std::vector<Item>& items, std::int64_t sending, Time now);
  Sent take_answer(const std::vector<std::int64_t>& ids, const std::string& person, const SendResult& result, Time now);
  void hold(const std::string& person, const SendResult& result, Time now);
  void release(const std::string& person, Time now);
  bool begin(const std::vector<std::int64_t>& ids, std::int64_t sending);
  void end(const std::vector<std::int64_t>& ids, const history::History::SendingEnd& end);
  std::string identity_of(std::int64_t sending);
  [[nodiscard]] std::string way_to(const std::string& person) const;
  void between(const char* step) const {
    if (parts_.between) parts_.between(step);
  }

  const std::string name_;
  const DutyList& duty_;
  DeliveryParts& parts_;
  std::unique_ptr<Channel> channel_;
  std::atomic<bool> stopped_{false};
  std::unique_ptr<history::Reader> reader_;
  std::map<std::string, Hold> holds_;  // by person; "": the channel
  std::vector<GatewaySays> to_tell_;
};

}  // namespace driftline::messages
