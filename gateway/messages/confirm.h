// The link by which a person takes a warning from a message: signed, expiring, for one purpose, one person and one raise of one
// warning. Whoever holds it may use it as that person: it is as secret as the message that it came in.
//
// A token is base64url(claim) "." base64url(HMAC-SHA-256 over the first part; RFC 2104, RFC 4648 section 5, without padding). The
// claim is read only after the signature has been found to be ours, compared in a time that does not depend on what differs.
#pragma once

#include <array>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "gateway/history/life_rows.h"
#include "gateway/messages/links.h"
#include "rules/records/time.h"

namespace driftline::messages {

using LinkKey = std::array<unsigned char, 32>;

// From the file, which is made at the first start, readable by its owner alone. An error is a sentence for a person. A key that is
// lost or thrown away makes all links worthless that were signed with it, and nothing else.
[[nodiscard]] tl::expected<LinkKey, std::string> link_key_of(const std::string& file);
inline constexpr auto link_key_name = "link-key";  // in the data folder

enum class LinkPurpose : std::uint8_t { acknowledge, shelve };  // a `shelve` link is signed and refused by the page: what is put off wants its end chosen there

struct LinkClaim {
  LinkPurpose purpose = LinkPurpose::acknowledge;
  history::WarningRef warning{};
  Time raised{};
  Time expires{};
  std::string person;
  bool operator==(const LinkClaim&) const = default;
};

enum class LinkFault : std::uint8_t {
  not_a_link,     // cut, or nothing of ours
  altered,        // the signature is not ours: changed on its way, another gateway's, or of a key that was replaced
  other_purpose,
  expired,
};

// Empty for a person whose name holds a line end: there is no such link.
[[nodiscard]] std::string token_of(const LinkClaim& claim, const LinkKey& key);
[[nodiscard]] tl::expected<LinkClaim, LinkFault> claim_of(std::string_view token, LinkPurpose wanted, const LinkKey& key, Time now);
// The request (history::Act) of the act that a link stands for: pressed twice it is done once.
[[nodiscard]] std::string request_of_link(std::string_view token);

// Of a weekend with a holiday, and of the days that a `plan` may wait.
inline constexpr std::chrono::hours link_for{24 * 7};
inline constexpr std::size_t token_bytes_max = 1024;

// `links` with signed ones for acknowledging, below `page_url`, which is not empty.
[[nodiscard]] Links with_confirm_links(Links links, std::string page_url, const LinkKey& key);

}  // namespace driftline::messages
