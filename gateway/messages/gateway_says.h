// What the gateway says of itself to people: that a channel is dead, that the broker is lost, that it starts or ends. How it gets
// to them is tell.h, or Consumer::tell of the running gateway.
#pragma once

#include <string>

namespace driftline::messages {

struct GatewaySays {
  std::string what;     // makes the key: said once for each value, over restarts too. "broker-lost|2026-03-01T06:00:00Z"
  std::string subject;  // one line, at most 60 characters
  std::string body;     // lines end with \n
  bool operator==(const GatewaySays&) const = default;
};

}  // namespace driftline::messages
