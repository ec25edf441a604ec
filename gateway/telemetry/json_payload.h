// A payload parsed within its bounds: size, depth, UTF-8, JSON.
#pragma once

#include <memory>
#include <string_view>
#include <vector>

#include "gateway/telemetry/fault.h"
#include "gateway/telemetry/loose_tokens.h"

namespace simdjson::dom {
class element;
}

namespace driftline {

// A parser and its buffers: one a thread, reused from payload to payload.
class JsonPayload {
 public:
  JsonPayload();
  ~JsonPayload();
  JsonPayload(JsonPayload&&) noexcept;
  JsonPayload& operator=(JsonPayload&&) noexcept;

  // False, with one fault said, for a payload that is not JSON within the bounds. `root` lasts until the next call.
  [[nodiscard]] bool parse(std::string_view payload, simdjson::dom::element& root, std::vector<Fault>& faults);

  // The payload went through loosen_tokens: strings may stand for tokens that are no JSON.
  [[nodiscard]] bool loose() const { return loosened_ != Loosened::nothing; }

  // To be called when `payload` has been read: tokens that are no JSON are said even where they stand in a field that nobody
  // looks at.
  void finish(std::string_view payload, std::vector<Fault>& faults) const;

 private:
  struct Buffers;
  std::unique_ptr<Buffers> buffers_;
  Loosened loosened_ = Loosened::nothing;
};

}  // namespace driftline
