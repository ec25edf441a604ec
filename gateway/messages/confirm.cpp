#include "gateway/messages/confirm.h"

#include <fcntl.h>
#include <sodium.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <utility>
#include <vector>

#include "gateway/history/warning_key.h"
#include "rules/records/require.h"

namespace driftline::messages {
namespace {

constexpr std::string_view version = "1";
constexpr int base64_kind = sodium_base64_VARIANT_URLSAFE_NO_PADDING;
using Signature = std::array<unsigned char, crypto_auth_hmacsha256_BYTES>;
static_assert(crypto_auth_hmacsha256_KEYBYTES == std::tuple_size_v<LinkKey>);

void ready() { require(sodium_init() >= 0, "the cryptographic library is there"); }

const unsigned char* bytes_of(std::string_view text) { return static_cast<const unsigned char*>(static_cast<const void*>(text.data())); }

std::string base64url(const unsigned char* bytes, std::size_t count) {
  std::string text(sodium_base64_encoded_len(count, base64_kind), '\0');
  sodium_bin2base64(text.data(), text.size(), bytes, count, base64_kind);
  text.pop_back();  // the library's end mark
  return text;
}

std::optional<std::string> from_base64url(std::string_view text) {
  std::vector<unsigned char> bytes(text.size() + 1);
  std::size_t count = 0;
  const char* end = nullptr;
  if (sodium_base642bin(bytes.data(), bytes.size(), text.data(), text.size(), nullptr, &count, &end, base64_kind) != 0) return std::nullopt;
  if (end != text.data() + text.size()) return std::nullopt;
  // The library takes some bytes outside of the alphabet for letters: one claim has one token only.
  if (base64url(bytes.data(), count) != text) return std::nullopt;
  return std::string(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(count));
}

std::string_view word_of(LinkPurpose purpose) { return purpose == LinkPurpose::acknowledge ? "acknowledge" : "shelve"; }

std::string_view next_line(std::string_view& text) {
  const std::string_view line = text.substr(0, text.find('\n'));
  text.remove_prefix(std::min(line.size() + 1, text.size()));
  return line;
}

std::optional<Time> time_of(std::string_view text) {
  std::int64_t ms = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), ms);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return time_from_ms(ms);
}

// Signed by us, so it is as we wrote it, unless an older or newer program did.
std::optional<LinkClaim> read_claim(std::string_view text) {
  if (next_line(text) != version) return std::nullopt;
  LinkClaim claim;
  const std::string_view purpose = next_line(text);
  if (purpose != word_of(LinkPurpose::acknowledge) && purpose != word_of(LinkPurpose::shelve)) return std::nullopt;
  claim.purpose = purpose == word_of(LinkPurpose::acknowledge) ? LinkPurpose::acknowledge : LinkPurpose::shelve;
  const auto warning = history::warning_of_key(next_line(text));
  const auto raised = time_of(next_line(text));
  const auto expires = time_of(next_line(text));
  if (!warning || !raised || !expires || text.empty()) return std::nullopt;
  claim.warning = *warning;
  claim.raised = *raised;
  claim.expires = *expires;
  claim.person = text;
  return claim;
}

std::string failure(const std::string& file, const char* what) { return file + " " + what + ": " + std::strerror(errno); }

// Whole, on the disk, before it has its name: no start may find half a key.
std::optional<std::string> make_key(const std::string& file) {
  LinkKey key{};
  randombytes_buf(key.data(), key.size());
  const std::string fresh = file + ".new";
  ::unlink(fresh.c_str());
  const int handle = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
  if (handle < 0) return failure(fresh, "cannot be made");
  const bool whole = ::write(handle, key.data(), key.size()) == static_cast<ssize_t>(key.size()) && ::fsync(handle) == 0;
  ::close(handle);
  if (!whole || std::rename(fresh.c_str(), file.c_str()) != 0) return failure(file, "cannot be written");
  return std::nullopt;
}

}  // namespace

tl::expected<LinkKey, std::string> link_key_of(const std::string& file) {
  ready();
  if (::access(file.c_str(), F_OK) != 0 && errno == ENOENT)
    if (auto why = make_key(file)) return tl::unexpected(std::move(*why));
  const int handle = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (handle < 0) return tl::unexpected(failure(file, "cannot be read"));
  LinkKey key{};
  struct stat state {};
  const bool known = ::fstat(handle, &state) == 0;
  const ssize_t got = ::read(handle, key.data(), key.size());
  ::close(handle);
  if (!known || got != static_cast<ssize_t>(key.size()) || state.st_size != static_cast<off_t>(key.size()))
    return tl::unexpected(file + " is no key of 32 bytes; delete it, and a new one is made: links that are out are then worthless");
  if ((state.st_mode & (S_IRWXG | S_IRWXO)) != 0)
    return tl::unexpected(file + " can be read by others than its owner; delete it, and a new one is made");
  return key;
}

std::string token_of(const LinkClaim& claim, const LinkKey& key) {
  ready();
  if (claim.person.empty() || claim.person.find('\n') != std::string::npos) return {};
  const std::string text = std::string(version) + "\n" + std::string(word_of(claim.purpose)) + "\n" + history::key_text(claim.warning) + "\n" +
                           std::to_string(ms_since_1970(claim.raised)) + "\n" + std::to_string(ms_since_1970(claim.expires)) + "\n" + claim.person;
  std::string token = base64url(bytes_of(text), text.size());
  Signature signature{};
  crypto_auth_hmacsha256(signature.data(), bytes_of(token), token.size(), key.data());
  token += '.';
  return token + base64url(signature.data(), signature.size());
}

tl::expected<LinkClaim, LinkFault> claim_of(std::string_view token, LinkPurpose wanted, const LinkKey& key, Time now) {
  ready();
  const auto point = token.find('.');
  if (token.size() > token_bytes_max || point == std::string_view::npos) return tl::unexpected(LinkFault::not_a_link);
  const std::string_view signed_part = token.substr(0, point);
  const auto signature = from_base64url(token.substr(point + 1));
  if (!signature || signature->size() != crypto_auth_hmacsha256_BYTES) return tl::unexpected(LinkFault::not_a_link);
  if (crypto_auth_hmacsha256_verify(bytes_of(*signature), bytes_of(signed_part), signed_part.size(), key.data()) != 0)
    return tl::unexpected(LinkFault::altered);
  const auto text = from_base64url(signed_part);
  const auto claim = text ? read_claim(*text) : std::nullopt;
  if (!claim) return tl::unexpected(LinkFault::not_a_link);
  if (claim->purpose != wanted) return tl::unexpected(LinkFault::other_purpose);
  if (now >= claim->expires) return tl::unexpected(LinkFault::expired);
  return *claim;
}

std::string request_of_link(std::string_view token) {
  std::array<unsigned char, crypto_hash_sha256_BYTES> hash{};
  crypto_hash_sha256(hash.data(), bytes_of(token), token.size());
  return "link/" + base64url(hash.data(), hash.size());
}

Links with_confirm_links(Links links, std::string page_url, const LinkKey& key) {
  links.acknowledge = [page_url = std::move(page_url), key, otherwise = links.acknowledge](const LinkAbout& about) {
    const std::string token = token_of({LinkPurpose::acknowledge, about.warning, about.raised, about.now + link_for, about.person}, key);
    if (token.empty()) return otherwise ? otherwise(about) : std::string();
    return page_url + "/confirm/" + token;
  };
  return links;
}

}  // namespace driftline::messages
