#include "gateway/app/service_manager.h"

#include <systemd/sd-daemon.h>

#include <algorithm>
#include <cstdint>

#include "gateway/app/run_limits.h"

namespace driftline {

ServiceManager::ServiceManager() {
  std::uint64_t usec = 0;
  if (sd_watchdog_enabled(0, &usec) > 0) watchdog_every_ = std::chrono::microseconds{usec} / 2;
}

void ServiceManager::ready(const std::string& status) {
  sd_notify(0, ("READY=1\nSTATUS=" + status).c_str());
}
void ServiceManager::reloading() {
  sd_notify(0, "RELOADING=1");
}
void ServiceManager::stopping() {
  sd_notify(0, "STOPPING=1");
}
void ServiceManager::status(const std::string& text) {
  sd_notify(0, ("STATUS=" + text).c_str());
}

std::optional<std::string> ServiceManager::watch(const std::vector<Pulse>& pulses,
                                                 std::chrono::nanoseconds now) {
  std::optional<std::string> hangs;
  std::vector<Seen> seen;
  for (const Pulse& pulse : pulses) {
    const auto before =
        std::find_if(seen_.begin(), seen_.end(), [&](const Seen& one) { return one.name == pulse.name; });
    const bool moved = before == seen_.end() || before->beats != pulse.beats;
    seen.push_back({pulse.name, pulse.beats, moved ? now : before->moved});
    if (now - seen.back().moved > hang_after && !hangs) hangs = pulse.name;
  }
  seen_ = std::move(seen);
  if (watchdog_every_ && !hangs && now - said_ >= *watchdog_every_) {
    sd_notify(0, "WATCHDOG=1");
    said_ = now;
  }
  return hangs;
}

}  // namespace driftline
