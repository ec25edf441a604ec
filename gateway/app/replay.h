// A recording through the same code as the live gateway, into files.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/plant.h"

namespace driftline {

struct ReplaySettings {
  PlantSettings plant;
  std::vector<std::filesystem::path> recordings;  // files .ndjson or .ndjson.gz, or folders of them
  std::filesystem::path out;                      // folder; made if absent; files of an earlier replay are replaced
};

struct ReplayProgress {
  std::uint64_t bytes_done = 0;
  std::uint64_t bytes_total = 0;
  std::uint64_t messages = 0;
};

struct ReplayReport {
  std::uint64_t messages = 0;
  std::uint64_t samples = 0;
  std::uint64_t samples_behind = 0;  // came too late, or again when they had been told
  std::uint64_t half_cycles = 0;
  std::uint64_t warnings_raised = 0;
  std::uint64_t faults = 0;
  std::uint64_t lines_unreadable = 0;  // of the recordings; among the faults
  std::uint64_t stations = 0;
  std::uint64_t stations_set_aside = 0;
};

struct ReplayOutcome {
  std::optional<ReplayReport> report;
  std::string why;  // when there is no report: what was wrong, where, and what would be right
};

// Writes half-cycles.ndjson, warnings.ndjson, reservoirs.ndjson, forecasts.ndjson and faults.ndjson, each in event-time
// order. Holds the rows in memory until the end: about 400 bytes a half-cycle.
[[nodiscard]] ReplayOutcome replay(const ReplaySettings& settings, const std::function<void(const ReplayProgress&)>& tell);

}  // namespace driftline
