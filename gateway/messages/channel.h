// The one thing that channels have in common. Two bodies: e-mail and webhook.
#pragma once

#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "gateway/messages/text.h"

namespace driftline::messages {

struct Outbound {
  Text text;
  std::string person, address;
  std::vector<Item> items;
  std::string identity;  // the same for every attempt at the same message and no other: 32 of 0-9a-f
  Time now{};
};

enum class Sent : std::uint8_t {
  yes,
  later,       // the channel is away, slow, or says try again: everything on it waits
  later_here,  // this address says try again: what is for it waits, the others go on
  refused,     // this message, for good
};

struct SendResult {
  Sent sent = Sent::later;
  bool answered = true;  // false: it may have gone out all the same
  std::string answer;    // for a person; no secret
  std::chrono::seconds retry_after{0};
};

class Channel {
 public:
  virtual ~Channel() = default;
  // Blocks within the limits of limits.h. One thread.
  [[nodiscard]] virtual SendResult send(const Outbound& message) = 0;
  // From any thread: what is being sent is broken off, and so is all that comes.
  virtual void stop() {}
};

[[nodiscard]] std::unique_ptr<Channel> mail_channel(const MailSettings& settings);
[[nodiscard]] std::unique_ptr<Channel> webhook_channel(const WebhookSettings& settings);

// What a webhook is sent; for the tests that hold the documented bytes.
[[nodiscard]] std::string webhook_body(const Outbound& message);
// HMAC-SHA-256 (RFC 2104) as lower-case hexadecimal.
[[nodiscard]] std::string signature_of(std::string_view key, std::string_view body);
// 128 bits of BLAKE2b as 32 of 0-9a-f.
[[nodiscard]] std::string hash_of(std::string_view text);

}  // namespace driftline::messages
