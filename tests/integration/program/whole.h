// The whole program in the test's own process, or as a process that can be killed.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "gateway/app/plant.h"
#include "gateway/app/run.h"
#include "tests/support/mqtt_peer.h"
#include "tests/support/temp_folder.h"

namespace driftline::testing {

[[nodiscard]] GatewaySettings settings_for(std::uint16_t port, const std::string& data_folder);

// Rows of a table as text, sorted as a replay sorts them: file name -> lines.
using RowTexts = std::map<std::string, std::vector<std::string>>;
[[nodiscard]] RowTexts rows_in_history(const std::string& data_folder);

// What a fresh plant makes of what the journal in this folder holds, with silence until `until`.
[[nodiscard]] RowTexts rows_from_journal(const std::string& data_folder, const PlantSettings& plant,
                                         std::optional<Time> until);
[[nodiscard]] std::vector<Message> journal_of(const std::string& data_folder);

// A plant of `stations` stations with turns of 20 s every 60 s, sampled at 1 Hz: message `n` in order of
// sending.
struct Sent {
  std::string topic;
  std::string payload;
};
[[nodiscard]] Sent sample(int n, int stations, std::int64_t start_ms);
[[nodiscard]] Sent settings_message(int station);

}  // namespace driftline::testing
