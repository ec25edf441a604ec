// Second chance for payloads that are almost JSON.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace driftline {

enum class Loosened : std::uint8_t {
  nothing,      // a second attempt at parsing would fail like the first
  big_numbers,  // all that was turned is JSON, beyond 64 bits or a double's range
  not_numbers,  // tokens that are no JSON were turned
};

// Copies `payload` to `out` with every NaN and infinity token (nan, -Infinity, 1.#QNAN, ...) and every number beyond 64 bits
// or a double's range turned into a string that starts with json_values::loose_mark.
[[nodiscard]] Loosened loosen_tokens(std::string_view payload, std::string& out);

}  // namespace driftline
