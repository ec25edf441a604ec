// The verb `run`: the gateway until it is told to end.
//
//   driftline run --config DIR [--data DIR]
//     SIGTERM, SIGINT: clean end; SIGHUP: configuration anew, all or nothing
//
//   driftline run --health --data DIR
//     how the gateway on DIR is, in one line; for a container's health check
//
// Exit codes: 0 clean end (or healthy), 1 failed while running (or not healthy), 2 could not start.
#pragma once

#include <functional>
#include <iosfwd>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/run.h"

namespace driftline {

struct LoadedSettings {
  std::optional<GatewaySettings> settings;
  std::vector<history::RolloutRow> rollouts;  // what was done with thresholds, for the log
  std::vector<std::string>
      problems;  // for a person: file, place, what would be right; `settings` is empty then
};
using LoadSettings = std::function<LoadedSettings()>;  // reads the configuration anew at each call

// Blocks. Logs go to standard error; `out` gets one line when the gateway runs.
[[nodiscard]] int run_gateway(const LoadSettings& load, std::ostream& out, std::ostream& err);

[[nodiscard]] int tell_health(const std::string& data_folder, std::ostream& out);

}  // namespace driftline
