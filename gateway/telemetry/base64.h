// Base64 with padding (RFC 4648, section 4).
#pragma once

#include <string>
#include <string_view>

namespace driftline {

void append_base64(std::string& out, std::string_view bytes);

// False, with `out` unspecified, for anything but whole padded groups of the alphabet.
[[nodiscard]] bool read_base64(std::string_view text, std::string& out);

}  // namespace driftline
