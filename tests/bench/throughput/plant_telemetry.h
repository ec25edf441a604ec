// Telemetry of many stations for a measurement of speed: plausible turns, no faults, one sample a message.
#pragma once

#include <cstdint>
#include <string>

namespace driftline::bench {

struct TimedMessage {
  std::string topic;
  std::string payload;
};

// Message `n` of a stream in which `stations` stations report in turn, each once a second from `start_ms` on;
// a turn of two minutes every five.
void telemetry(std::uint64_t n, int stations, std::int64_t start_ms, TimedMessage& out);
[[nodiscard]] TimedMessage settings_of(int station);

}  // namespace driftline::bench
