// Messages of another shape, read as ours. What is bad in them is answered as by NativeDecoder: a bad sample faults only
// itself, a bad field only its field, and `where` points into the payload as it came.
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

// Immutable mappings and a parser's buffers: one a thread, like NativeDecoder.
class MappedDecoder {
 public:
  [[nodiscard]] static tl::expected<MappedDecoder, std::vector<MappingMistake>> make(std::vector<Mapping> mappings);

  ~MappedDecoder();
  MappedDecoder(MappedDecoder&&) noexcept;
  MappedDecoder& operator=(MappedDecoder&&) noexcept;

  struct Match {
    std::size_t mapping = 0;  // the first whose pattern fits
    TopicOutcome outcome;     // bad_topic where a level cannot name a site or station
  };
  // Empty: no mapping is about this topic.
  [[nodiscard]] std::optional<Match> match(std::string_view topic) const;

  // `mapping` as `match` gave it. `out` is cleared and filled; its capacity is reused.
  void decode(std::size_t mapping, std::string_view payload, Time received, Decoded& out);

  // What to subscribe to, sorted, each once.
  [[nodiscard]] std::vector<std::string> topic_filters() const;

 private:
  struct Parts;
  explicit MappedDecoder(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

}  // namespace driftline
