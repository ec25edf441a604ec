// The newest samples of one station, read back from the journal: what somebody who begins to look on has missed. Costs nothing
// while nobody asks; a question reads at most `lately_records_max` messages of all stations.
#pragma once

#include <chrono>
#include <string>
#include <vector>

#include "gateway/app/plant.h"
#include "gateway/journal/journal.h"
#include "gateway/telemetry/sample.h"

namespace driftline {

struct LatelySettings {
  std::string topic_root;
  std::vector<Mapping> mappings;
};

// In order of their stamps, at most `span` before the newest of them, which came within `span` of `now`. Any thread.
[[nodiscard]] std::vector<Sample> samples_lately(journal::Journal& journal, const LatelySettings& settings, const StationId& station, Time now,
                                                 std::chrono::seconds span);

}  // namespace driftline
