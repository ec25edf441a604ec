// What the gateway says of itself to people: that a channel is dead, that the broker is lost, that it starts or ends.
#pragma once

#include <string>

#include "gateway/history/history.h"
#include "gateway/messages/duty.h"

namespace driftline::messages {

struct GatewaySays {
  std::string what;     // makes the key: said once for each value, over restarts too. "broker-lost|2026-03-01T06:00:00Z"
  std::string subject;  // one line, at most 60 characters
  std::string body;     // lines end with \n
  bool operator==(const GatewaySays&) const = default;
};

// Into the outbox, on the disk when it returns, by every channel of those who get the digest; nothing where the key is there.
// Any thread. The threads of Delivery take it from there, within a fraction of a second, this run or the next.
[[nodiscard]] tl::expected<void, history::Trouble> tell(history::History& history, const DutyList& duty, const GatewaySays& said, Time now);

}  // namespace driftline::messages
