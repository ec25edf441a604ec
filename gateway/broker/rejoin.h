// The patience of a connecting thread: a wait that stop() and a loss end early, with back-off and its chance.
#pragma once

#include <chrono>
#include <condition_variable>
#include <mutex>
#include <optional>
#include <random>

#include "gateway/broker/backoff.h"
#include "gateway/broker/link.h"

namespace driftline::broker {

// What the owner's thread and the library's callbacks tell each other. The callbacks only set and notify.
class Signal {
 public:
  void stop() {
    {
      const std::lock_guard guard(mutex_);
      stopping_ = true;
    }
    changed_.notify_all();
  }
  void lose(const LinkFailure& failure) {
    {
      const std::lock_guard guard(mutex_);
      lost_ = failure;
    }
    changed_.notify_all();
  }
  void nudge() {
    {
      const std::lock_guard guard(mutex_);
      nudged_ = true;
    }
    changed_.notify_all();
  }
  void forget_loss() {
    const std::lock_guard guard(mutex_);
    lost_.reset();
  }
  [[nodiscard]] bool stopping() const {
    const std::lock_guard guard(mutex_);
    return stopping_;
  }
  [[nodiscard]] std::optional<LinkFailure> lost() const {
    const std::lock_guard guard(mutex_);
    return lost_;
  }
  // Ends early at stop(). True: it ended by time.
  bool sleep(std::chrono::milliseconds time) {
    std::unique_lock lock(mutex_);
    return !changed_.wait_for(lock, time, [&] { return stopping_; });
  }
  // Ends early at stop(), lose() and nudge().
  void wait(std::chrono::milliseconds time) {
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, time, [&] { return stopping_ || lost_ || nudged_; });
    nudged_ = false;
  }

 private:
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;
  bool nudged_ = false;
  std::optional<LinkFailure> lost_;
};

class Patience {
 public:
  explicit Patience(BackoffRange range) : range_(range), chance_(std::random_device{}()) {}
  void succeeded() { failures_ = 0; }
  // How long to wait after one more failure [s].
  [[nodiscard]] double failed() {
    ++failures_;
    return backoff_s(failures_, range_, std::uniform_real_distribution<double>(0.0, 1.0)(chance_));
  }

 private:
  BackoffRange range_;
  std::minstd_rand chance_;
  int failures_ = 0;
};

[[nodiscard]] inline std::chrono::milliseconds as_ms(double seconds) {
  return std::chrono::milliseconds{static_cast<long>(seconds * 1000.0)};
}

}  // namespace driftline::broker
