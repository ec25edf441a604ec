// What goes together as one message: one for a cause and not one for each symptom. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "gateway/history/message_rows.h"
#include "gateway/messages/picture.h"
#include "rules/records/warning.h"

namespace driftline::messages {

// A message with its number in the history and the machine's word on its warning; of digests and of the gateway itself there is none.
struct Item {
  std::int64_t id = 0;
  history::KeptMessage message;
  std::optional<WarningChange> warning;
  std::optional<Trend> trend{};        // of the figure that moved
  std::optional<double> grease_kg{};   // to fill the reservoir
  std::optional<std::string> ended{};  // the machine's last words, of what has ended
};

struct Bundle {
  std::vector<std::size_t> items;  // indexes, lowest id first
  bool may_wait = true;            // false: an act, a digest, or what the gateway says of itself: no limit holds it back
  std::int64_t sending = 0;        // its number if it was handed over before, else 0
};

// Items of one person and one channel, lowest id first. Together go: what was handed over together before, so that a second copy
// is known as one; what has one cause at one station; one condition at three stations of a site or more. Where that would be
// more than `room` messages all that may wait becomes one summary, and where the acts alone would, they do too.
// Acts come first, otherwise the lowest id.
[[nodiscard]] std::vector<Bundle> bundles(const std::vector<Item>& items, std::size_t room);

inline constexpr std::size_t site_wide_stations = 3;

}  // namespace driftline::messages
