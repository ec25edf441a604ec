// What a service manager wants to hear (sd_notify(3)); without one every call does nothing.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/run.h"

namespace driftline {

class ServiceManager {
 public:
  ServiceManager();  // reads WATCHDOG_USEC
  void ready(const std::string& status);
  void reloading();  // `ready` ends it
  void stopping();
  void status(const std::string& text);

  // Call about once a second. Says WATCHDOG=1 at half of its interval, and only if every thread has moved
  // within hang_after. Gives the name of a thread that hangs.
  std::optional<std::string> watch(const std::vector<Pulse>& pulses, std::chrono::nanoseconds now);

 private:
  struct Seen {
    std::string name;
    std::uint64_t beats = 0;
    std::chrono::nanoseconds moved{};
  };
  std::optional<std::chrono::nanoseconds> watchdog_every_;
  std::chrono::nanoseconds said_{};
  std::vector<Seen> seen_;
};

}  // namespace driftline
