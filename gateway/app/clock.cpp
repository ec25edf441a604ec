#include "gateway/app/clock.h"

#include <ctime>

namespace driftline {

Time wall_now() { return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now()); }

std::chrono::nanoseconds steady_now() { return std::chrono::steady_clock::now().time_since_epoch(); }

std::chrono::nanoseconds cpu_now() {
  timespec used{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &used);
  return std::chrono::seconds{used.tv_sec} + std::chrono::nanoseconds{used.tv_nsec};
}

}  // namespace driftline
