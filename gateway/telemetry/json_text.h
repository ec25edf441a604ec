// Text into JSON and into messages for people.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace driftline {

// Appends `text` as a JSON string with its quotes. Bytes that are not UTF-8 become U+FFFD, so the result is always JSON.
void append_json_string(std::string& out, std::string_view text);

// Length of the well-formed UTF-8 sequence that `text` starts with (1 to 4), or 0 when there is none (RFC 3629).
[[nodiscard]] std::size_t utf8_length(std::string_view text);

// `text` as a JSON string, cut (at a character's edge) to quoted_bytes_max with "..." after it: for a fault's `why`.
[[nodiscard]] std::string in_quotes(std::string_view text);

// `text` cut like `in_quotes`, escaped alike, without quotes: for a number or a token as it stood.
[[nodiscard]] std::string cut_short(std::string_view text);

// Appends "/name" with ~ and / escaped as RFC 6901 wants it.
void append_pointer(std::string& pointer, std::string_view name);
void append_pointer(std::string& pointer, std::size_t index);

}  // namespace driftline
