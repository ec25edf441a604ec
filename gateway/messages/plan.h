// Who is to be told what now: a pure function of the duty list, the lives of the warnings, what has been said already, and
// the time. It keeps nothing: after a crash or a reload the same question gives the same messages, whose keys the history
// knows already.
#pragma once

#include <optional>
#include <vector>

#include "gateway/history/message_rows.h"
#include "gateway/history/rows.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/gateway_says.h"

namespace driftline::messages {

using history::KeptMessage;
using history::LifeRow;
using history::MessageRow;
using LifeRows = std::vector<history::Stored<LifeRow>>;

struct Plan {
  std::vector<MessageRow> rows;
  std::optional<Time> wake_at;  // nothing more is due before, unless a warning changes
};

// `told`: all messages about warnings that were made within `told_for`, by id. `lives`: as Reader::lives gives them.
[[nodiscard]] Plan plan(const DutyList& duty, const LifeRows& lives, const std::vector<KeptMessage>& told, Time now);

// The local date of the digest that is due at `now`: its hour has passed today, somebody gets it, and it was not planned yet.
[[nodiscard]] std::optional<std::string> digest_due(const DutyList& duty, const std::vector<KeptMessage>& told, Time now);
// What the gateway says of itself, by every channel of those who get the digest. Each `what` once.
[[nodiscard]] std::vector<MessageRow> of_itself(const DutyList& duty, const GatewaySays& said, Time now);

// Siblings of one cause gather this long; an act does not wait.
inline constexpr std::chrono::seconds gather{60};
// The same warning, raised again within this and no more urgent, is no news: it flaps. Never of an act.
inline constexpr std::chrono::hours fold_for{6};
inline constexpr std::chrono::hours told_for{24 * 60};

}  // namespace driftline::messages
