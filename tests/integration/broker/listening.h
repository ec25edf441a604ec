// A Source over a list in memory, whose journal can be told to refuse.
#pragma once

#include <atomic>
#include <chrono>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "gateway/broker/source.h"
#include "tests/support/eventually.h"

namespace driftline::testing {

struct Heard {
  std::string topic;
  std::string payload;
};

class Listening {
 public:
  explicit Listening(const broker::BrokerSettings& settings) : source_(settings, take(), clocks()) {
    source_.start();
  }

  broker::Source& source() { return source_; }
  void refuse(bool on) { refuses_ = on; }
  void be_slow(std::chrono::milliseconds each) { slow_ms_ = static_cast<int>(each.count()); }
  void throw_once() { throws_ = true; }
  [[nodiscard]] std::size_t size() {
    const std::lock_guard guard(mutex_);
    return heard_.size();
  }
  [[nodiscard]] std::vector<Heard> heard() {
    const std::lock_guard guard(mutex_);
    return heard_;
  }
  [[nodiscard]] bool listens() {
    return eventually([&] { return source_.state() == broker::SourceState::listening; });
  }

 private:
  broker::Take take() {
    return [this](std::string_view topic, std::string_view payload) {
      if (throws_.exchange(false)) throw std::runtime_error("no memory");
      if (slow_ms_ > 0) std::this_thread::sleep_for(std::chrono::milliseconds{slow_ms_});
      if (refuses_) return false;
      const std::lock_guard guard(mutex_);
      heard_.push_back({std::string(topic), std::string(payload)});
      return true;
    };
  }
  static broker::Clocks clocks() {
    return {[] { return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now()); },
            [] { return std::chrono::nanoseconds(std::chrono::steady_clock::now().time_since_epoch()); }};
  }

  std::mutex mutex_;
  std::vector<Heard> heard_;
  std::atomic<bool> refuses_{false}, throws_{false};
  std::atomic<int> slow_ms_{0};
  broker::Source source_;  // last: it stops before the rest goes
};

}  // namespace driftline::testing
