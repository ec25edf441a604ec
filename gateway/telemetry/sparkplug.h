// Sparkplug B, read as ours: births, aliases, sequence numbers and deaths followed per edge node, metrics made samples.
//
// Topics: spBv1.0/<group>/<message type>/<edge node>[/<device>]; types NBIRTH, NDATA, NDEATH, DBIRTH, DDATA, DDEATH. Commands
// and STATE are not about stations and are passed over. Source: Eclipse Sparkplug Specification 3.0.0, chapters 4 to 6.
//
// Metrics are sent when they change; a sample therefore holds the latest of each mapped metric, one sample for each time stamp
// in a message, oldest first. Metrics marked historical build samples of their own and leave the present untouched.
// A birth gives presence (online) and settings, a death presence (offline). Deaths of edge nodes count only with the birth's
// bdSeq. After a gap in seq, or data without birth, the answer asks for a rebirth; what the message says is used as far as
// its metrics are known. There is no waiting for a message that was overtaken: it costs one needless rebirth.
//
// The state (births, aliases, latest values) is not saved: after a restart every node is asked for its birth again, which is
// what the specification has a host do. Bounded: limits.h. One thread.
//
// Not wired into the plant yet. There, a killed process reads the journal again from where each station's saved state ends,
// and must come to what an unbroken one came to; without the births that went before, a decoder would not. To wire it,
// save its state (per edge node, with the position that it has reached) as the stations' is saved, let one message wait
// for several stations, and publish `rebirth_topic` when live but not when reading again.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/mapping.h"

namespace driftline {

// What a message says of one station.
struct SparkplugPart {
  StationId station;
  std::vector<Sample> samples;
  std::optional<ControllerSettings> settings;
  std::optional<PresenceChange> presence;
};

struct SparkplugOutcome {
  std::vector<SparkplugPart> parts;  // more than one when an edge node dies; by site and station
  std::vector<Fault> faults;         // `where` as if the payload were JSON: "/metrics/3/value"
  std::optional<StationId> station;  // whom the faults are about, when known
  std::optional<std::string> rebirth_topic;  // publish sparkplug::rebirth_request there, QoS 0, not retained
};

class SparkplugDecoder {
 public:
  [[nodiscard]] static tl::expected<SparkplugDecoder, std::vector<MappingMistake>> make(std::vector<SparkplugMapping> mappings);

  ~SparkplugDecoder();
  SparkplugDecoder(SparkplugDecoder&&) noexcept;
  SparkplugDecoder& operator=(SparkplugDecoder&&) noexcept;

  // Whether the topic is one that `take` has an answer for.
  [[nodiscard]] bool is_about(std::string_view topic) const;

  // `out` is cleared and filled.
  void take(std::string_view topic, std::string_view payload, Time received, SparkplugOutcome& out);

  // What to subscribe to, sorted, each once.
  [[nodiscard]] std::vector<std::string> topic_filters() const;

 private:
  struct Parts;
  explicit SparkplugDecoder(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

}  // namespace driftline
