#include "gateway/telemetry/json_payload.h"

#include <simdjson.h>

#include <cstring>
#include <new>
#include <string>

#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/not_json.h"

namespace driftline {

namespace limits = telemetry_limits;
using simdjson::dom::element;

struct JsonPayload::Buffers {
  simdjson::dom::parser parser{limits::payload_bytes_max + simdjson::SIMDJSON_PADDING};
  std::vector<char> padded;  // simdjson reads SIMDJSON_PADDING bytes beyond the end
  std::string loosened;

  simdjson::error_code parse(std::string_view payload, element& root) {
    if (padded.size() < payload.size() + simdjson::SIMDJSON_PADDING)
      padded.resize(payload.size() * 2 + simdjson::SIMDJSON_PADDING);
    if (!payload.empty()) std::memcpy(padded.data(), payload.data(), payload.size());
    std::memset(padded.data() + payload.size(), ' ', simdjson::SIMDJSON_PADDING);
    return parser.parse(padded.data(), payload.size(), false).get(root);
  }
};

JsonPayload::JsonPayload() : buffers_(std::make_unique<Buffers>()) {
  constexpr std::size_t usual_bytes = 64UL * 1024;  // grows when a longer payload comes
  if (buffers_->parser.allocate(usual_bytes, limits::payload_depth_max) != simdjson::SUCCESS) throw std::bad_alloc();
}
JsonPayload::~JsonPayload() = default;
JsonPayload::JsonPayload(JsonPayload&&) noexcept = default;
JsonPayload& JsonPayload::operator=(JsonPayload&&) noexcept = default;

bool JsonPayload::parse(std::string_view payload, element& root, std::vector<Fault>& faults) {
  loosened_ = Loosened::nothing;
  if (payload.size() > limits::payload_bytes_max) {
    faults.push_back({FaultCode::too_large, {}, std::to_string(payload.size()) + " bytes",
                      "at most " + std::to_string(limits::payload_bytes_max) + " bytes a message"});
    return false;
  }
  const simdjson::error_code error = buffers_->parse(payload, root);
  if (error == simdjson::SUCCESS) return true;
  if (error != simdjson::DEPTH_ERROR) loosened_ = loosen_tokens(payload, buffers_->loosened);
  if (loose() && buffers_->parse(buffers_->loosened, root) == simdjson::SUCCESS) return true;
  faults.push_back(not_json_fault(payload));
  return false;
}

void JsonPayload::finish(std::string_view payload, std::vector<Fault>& faults) const {
  if (loosened_ == Loosened::not_numbers && faults.empty()) faults.push_back(not_json_fault(payload));
}

}  // namespace driftline
