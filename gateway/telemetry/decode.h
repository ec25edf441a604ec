// A message as it came, to what it says. Never throws for bad input: a part that cannot be used becomes a Fault and the
// rest is used.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/telemetry/fault.h"
#include "gateway/telemetry/sample.h"
#include "rules/records/identity.h"
#include "rules/records/settings.h"
#include "rules/records/station_event.h"

namespace driftline {

// A message as received and as recorded.
struct Message {
  Time received{};  // the gateway's clock; never earlier than that of the message before
  std::string topic;
  std::string payload;
};

enum class TopicKind : std::uint8_t { telemetry, settings, presence, service };

struct Topic {
  StationId station;
  TopicKind kind = TopicKind::telemetry;
};

struct TopicOutcome {
  std::optional<Topic> topic;
  std::optional<Fault> fault;            // when `topic` is empty
  std::optional<StationId> station;      // also known for unknown_kind
};

// `<root>/<site>/<station>/<kind>`; `root` may itself hold levels.
[[nodiscard]] TopicOutcome read_topic(std::string_view root, std::string_view topic);

struct Decoded {
  std::vector<Sample> samples;                 // telemetry, in the order of the message
  std::optional<ControllerSettings> settings;  // settings
  std::optional<PresenceChange> presence;      // presence; its time is `received` where the message gives none
  std::optional<ServiceNote> note;             // service
  std::vector<Fault> faults;                   // one for each part that was not used
  std::size_t samples_refused = 0;             // telemetry: samples of which nothing was used; of a payload that cannot be read, 1

  void clear() {  // keeps the capacity
    samples.clear();
    settings.reset();
    presence.reset();
    note.reset();
    faults.clear();
    samples_refused = 0;
  }
};

// Decodes native JSON (the telemetry contract). Holds a parser's buffers: one a thread, reused from message to message.
class NativeDecoder {
 public:
  NativeDecoder();
  ~NativeDecoder();
  NativeDecoder(NativeDecoder&&) noexcept;
  NativeDecoder& operator=(NativeDecoder&&) noexcept;

  // `out` is cleared and filled; its capacity is reused.
  void decode(TopicKind kind, std::string_view payload, Time received, Decoded& out);

  // The same answer without the short way for plainly written samples (quick_samples.h); for the test that compares the two.
  void decode_any(TopicKind kind, std::string_view payload, Time received, Decoded& out);

 private:
  struct Buffers;
  std::unique_ptr<Buffers> buffers_;
};

}  // namespace driftline
