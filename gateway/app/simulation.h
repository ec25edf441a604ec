// Where a simulated plant's messages go: into a recording with its truth, or to a broker.
#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "gateway/broker/settings.h"
#include "gateway/simulate/plan.h"

namespace driftline {

struct SimulationProgress {
  double days_done = 0;
  double days_total = 0;
  std::uint64_t messages = 0;
  bool rushing = false;
};
using SimulationWatcher = std::function<void(const SimulationProgress&)>;

struct RecordedSimulation {
  std::uint64_t messages = 0;
  std::uint64_t samples = 0;
  std::uint64_t turns = 0;
  std::size_t faults = 0;
  std::filesystem::path truth;
  std::filesystem::path plant;
};

// NAME.ndjson.gz, and beside it NAME.truth.json and NAME.plant.json. On failure `why` is filled.
[[nodiscard]] std::optional<RecordedSimulation> record_simulation(const simulate::PlantPlan& plan, const std::filesystem::path& file,
                                                                  const SimulationWatcher& watch, std::string& why);

struct Pace {
  double rush_days = 0;  // first, as fast as they are taken
  double speed = 1;      // simulated seconds a second, until it has caught up with the clock
};

// Until the plan's days are over or `stop` is set. A broker that goes away is waited for. The answer says why it failed.
[[nodiscard]] std::optional<std::string> publish_simulation(const simulate::PlantPlan& plan, const broker::BrokerSettings& broker, const Pace& pace,
                                                            const std::atomic<bool>& stop, const SimulationWatcher& watch, std::uint64_t& messages);

}  // namespace driftline
