// The daily digest: how many stations were truly watched, what is open, what has been held back. Pure.
#pragma once

#include <string>
#include <vector>

#include "gateway/history/rows.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/gateway_says.h"

namespace driftline::messages {

struct DigestFacts {
  std::vector<StationId> known;    // configured, or ever heard; sorted
  std::vector<StationId> heard;    // in the 24 hours before; sorted
  std::int64_t held = 0;           // messages that quiet hours or a flood hold back
  std::int64_t failed = 0;         // refused or unsure in the 24 hours before
};

// `what` of it is "digest|DATE": once a local day.
[[nodiscard]] GatewaySays digest_of(const DutyList& duty, const std::vector<history::Stored<history::LifeRow>>& lives, const DigestFacts& facts,
                                    const std::string& date, Time now);

}  // namespace driftline::messages
