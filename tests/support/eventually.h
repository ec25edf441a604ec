// Waits for something that another thread or process will bring about. The limit is only how long a broken
// build hangs: a test passes as soon as the condition holds and asserts nothing about time.
#pragma once

#include <chrono>
#include <thread>

namespace driftline::testing {

template <class Condition>
[[nodiscard]] bool eventually(Condition condition, std::chrono::seconds limit = std::chrono::seconds{60}) {
  for (std::chrono::milliseconds waited{0}; waited < limit; waited += std::chrono::milliseconds{10}) {
    if (condition()) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
  }
  return condition();
}

}  // namespace driftline::testing
