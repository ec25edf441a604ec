#include "gateway/app/clock.h"

#include <ctime>

namespace driftline {
namespace {

std::chrono::nanoseconds read(clockid_t clock) {
  timespec time{};
  clock_gettime(clock, &time);
  return std::chrono::seconds{time.tv_sec} + std::chrono::nanoseconds{time.tv_nsec};
}

}  // namespace

Time wall_now() {
  return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

std::chrono::nanoseconds steady_now() {
  return std::chrono::steady_clock::now().time_since_epoch();
}

std::chrono::nanoseconds coarse_now() {
  return read(CLOCK_MONOTONIC_COARSE);
}

std::chrono::nanoseconds cpu_now() {
  return read(CLOCK_PROCESS_CPUTIME_ID);
}

}  // namespace driftline
