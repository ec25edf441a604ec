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
  std::int64_t number = 0;  // the same for every attempt at the same message
  Time now{};
};

enum class Sent : std::uint8_t {
  yes,
  later,    // the channel is away, slow, or says try again: everything on it waits
  refused,  // this message, for good
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
};

[[nodiscard]] std::unique_ptr<Channel> mail_channel(const MailSettings& settings);
[[nodiscard]] std::unique_ptr<Channel> webhook_channel(const WebhookSettings& settings);

// What a webhook is sent; for the tests that hold the documented bytes.
[[nodiscard]] std::string webhook_body(const Outbound& message);
// HMAC-SHA-256 (RFC 2104) as lower-case hexadecimal.
[[nodiscard]] std::string signature_of(std::string_view key, std::string_view body);

}  // namespace driftline::messages
