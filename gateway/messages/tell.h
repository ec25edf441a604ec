// The way for what the gateway says of itself into the outbox.
#pragma once

#include "gateway/history/history.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/gateway_says.h"

namespace driftline::messages {

// On the disk when it returns, by every channel of those who get the digest; nothing where the key is there. Any thread. The
// threads of Delivery take it from there, within a fraction of a second, this run or the next.
[[nodiscard]] tl::expected<void, history::Trouble> tell(history::History& history, const DutyList& duty, const GatewaySays& said, Time now);

}  // namespace driftline::messages
