// A payload parsed within its bounds: size, depth, UTF-8, JSON.
#pragma once

#include <memory>
#include <string_view>
#include <vector>

#include "gateway/telemetry/fault.h"

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
  [[nodiscard]] bool loose() const { return loose_; }

 private:
  struct Buffers;
  std::unique_ptr<Buffers> buffers_;
  bool loose_ = false;
};

}  // namespace driftline
