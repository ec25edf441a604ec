// How often an address may ask for something that needs no sign-in. Any thread; times are a steady clock's.
#pragma once

#include <chrono>
#include <map>
#include <mutex>
#include <string>

namespace driftline::web {

class Pace {
 public:
  explicit Pace(int most_a_minute, std::size_t addresses_max) : most_(most_a_minute), addresses_max_(addresses_max) {}

  // Seconds to wait; 0: go on.
  [[nodiscard]] int wait_s(const std::string& address, std::chrono::nanoseconds now) {
    const std::lock_guard guard(mutex_);
    if (marks_.size() >= addresses_max_) std::erase_if(marks_, [&](const auto& mark) { return now - mark.second.began >= window; });
    if (marks_.size() >= addresses_max_ && !marks_.contains(address)) return static_cast<int>(window.count());
    Mark& mark = marks_[address];
    if (mark.asked == 0 || now - mark.began >= window) mark = {now, 0};
    if (mark.asked < most_) {
      ++mark.asked;
      return 0;
    }
    return 1 + static_cast<int>(std::chrono::duration_cast<std::chrono::seconds>(mark.began + window - now).count());
  }

 private:
  static constexpr std::chrono::seconds window{60};
  struct Mark {
    std::chrono::nanoseconds began{};
    int asked = 0;
  };
  const int most_;
  const std::size_t addresses_max_;
  std::mutex mutex_;
  std::map<std::string, Mark> marks_;
};

}  // namespace driftline::web
