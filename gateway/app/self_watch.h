// The watcher is watched: a thread that looks at the gateway itself every few seconds, tells people of what is wrong
// (gateway/messages/troubles.h), makes the heartbeat's body, and calls the outside watcher's webhook, if there is one.
//
// What cannot be told, because the history takes nothing, is told once it does; till then the heartbeat says it.
#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "gateway/app/run.h"
#include "gateway/history/reader.h"
#include "gateway/messages/troubles.h"

namespace driftline {

struct SelfWatchParts {
  std::string history_file;
  std::string data_folder;
  std::function<GatewayStatus()> status;
  std::function<std::optional<std::string>()> output_trouble;    // of what else is sent from the history; empty: well
  std::function<bool(const messages::GatewaySays&)> tell;        // false: not now
  std::function<Time()> wall;
  std::function<std::chrono::nanoseconds()> steady;
  std::function<std::optional<std::uint64_t>()> free_bytes{};    // of the data folder's disk; empty: as the system says
};

class SelfWatch {
 public:
  SelfWatch(const HeartbeatSettings& settings, SelfWatchParts parts);
  ~SelfWatch();  // as stop()
  SelfWatch(const SelfWatch&) = delete;
  SelfWatch& operator=(const SelfWatch&) = delete;

  void start();
  void stop();
  [[nodiscard]] std::string heartbeat(bool ending) const;  // any thread
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }
  // What became of the calls to the outside watcher; any thread.
  struct Calls {
    std::optional<Time> answered;  // the last one that was
    std::string problem;           // of the last one; empty: none
  };
  [[nodiscard]] Calls calls() const;
  [[nodiscard]] const HeartbeatSettings& settings() const { return settings_; }

  void look();  // what the thread does; for tests

 private:
  struct Counted {
    std::optional<std::int64_t> silent;  // empty: the history could not be read
    std::vector<messages::Trouble> troubles;
  };
  [[nodiscard]] messages::TroublesNow seen(const GatewayStatus& status, const std::optional<std::int64_t>& silent);
  [[nodiscard]] std::optional<std::string> history_trouble(const GatewayStatus& status);
  [[nodiscard]] std::optional<std::string> disk_trouble();
  [[nodiscard]] std::optional<std::int64_t> count_silent();
  void tell_waiting();
  void call_webhook();
  void run();

  const HeartbeatSettings settings_;
  const SelfWatchParts parts_;
  messages::Troubles troubles_;
  std::deque<messages::GatewaySays> waiting_;
  std::unique_ptr<history::Reader> reader_;
  std::uint64_t commits_ = 0, commit_failures_ = 0;
  bool commits_fail_ = false;
  bool disk_low_ = false;
  std::optional<std::chrono::nanoseconds> called_;
  bool webhook_fails_ = false;

  mutable std::mutex mutex_;  // counted_, stopping_
  Counted counted_;
  Calls calls_;
  bool stopping_ = false;
  std::condition_variable changed_;
  std::atomic<std::uint64_t> pulse_{0};
  std::thread thread_;
};

}  // namespace driftline
