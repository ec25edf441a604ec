// One message as RFC 5322 wants it: header fields whole, lines end with CRLF and are short, nothing of a name or a text can
// become a field of its own. MIME multipart/alternative, text and HTML, UTF-8 in base64. Pure.
#pragma once

#include <optional>
#include <string>

#include "gateway/messages/text.h"

namespace driftline::messages {

// True for an address of printable ASCII without spaces, controls, quotes, commas and angle brackets, with one @ inside, within
// the sizes of RFC 5321 (4.5.3.1).
[[nodiscard]] bool is_mail_address(std::string_view address);

struct Envelope {
  std::string from;   // both of is_mail_address
  std::string to;
  Time date{};
  std::string identity;     // of the message; with `host` the Message-ID, so that a second copy is known as one
  std::string host;         // of the Message-ID: what stands behind the @ of `from`
};

[[nodiscard]] std::string mail_of(const Text& text, const Envelope& envelope);
// "=?UTF-8?B?...?=" where it must be (RFC 2047), in words of at most 75 characters; controls become spaces.
[[nodiscard]] std::string header_text(std::string_view text);

}  // namespace driftline::messages
