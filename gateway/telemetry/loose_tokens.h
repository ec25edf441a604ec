// Second chance for payloads that are almost JSON.
#pragma once

#include <string>
#include <string_view>

namespace driftline {

// Copies `payload` to `out` with every NaN and infinity token (nan, -Infinity, 1.#QNAN, ...) and every number beyond 64 bits
// or a double's range turned into a string that starts with json_values::loose_mark. False when there was none: a second
// attempt at parsing would fail like the first.
[[nodiscard]] bool loosen_tokens(std::string_view payload, std::string& out);

}  // namespace driftline
