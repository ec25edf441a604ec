// Where a text stops being JSON, and what a person should look for there.
#pragma once

#include <optional>
#include <string_view>

#include "gateway/telemetry/fault.h"

namespace driftline {

// The fault of a payload that a JSON parser has refused: its first offence with the text around it. too_deep where that is
// nesting beyond the bound.
[[nodiscard]] Fault not_json_fault(std::string_view payload);

// Byte at which `text` stops being JSON (RFC 8259, nesting within the payload bound); its size when it ends too early.
// Empty: nothing wrong was found.
[[nodiscard]] std::optional<std::size_t> first_offence(std::string_view text);

}  // namespace driftline
