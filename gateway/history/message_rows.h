// A message to a person, as it waits, is sent, and is remembered.
//
// The key makes planning idempotent: whoever plans the same message again, after a crash or a reload, changes nothing. Before
// it is handed to its channel a row is marked `unsure`; with the channel's answer the mark goes. A process that is killed in
// between leaves the mark: such a row is sent once more, and after a second such end no more, so nobody gets it three times.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "gateway/history/life_rows.h"

namespace driftline::history {

enum class MessageKind : std::uint8_t { news, reminder, taken, over, digest, gateway };
inline constexpr std::size_t message_kind_count = 6;
[[nodiscard]] std::string_view name_of(MessageKind kind);

enum class MessageState : std::uint8_t {
  waiting,
  sent,
  refused,  // by the other side, for good
  dropped,  // not needed any more: the warning cleared before it was due
  unsure,   // twice handed over without an answer
};
inline constexpr std::size_t message_state_count = 5;
[[nodiscard]] std::string_view name_of(MessageState state);

struct MessageRow {
  std::string key{};      // unique
  Time made{};
  Time due{};
  std::string person{};
  std::string channel{};  // "mail", "webhook NAME"
  std::string address{};
  MessageKind kind = MessageKind::news;
  int step = 0;         // of the escalation
  std::optional<WarningRef> warning{};
  Urgency urgency = Urgency::notice;
  Time raised{};
  std::int64_t warning_id = 0;  // the row of the machine's word that it tells
  std::string subject{};        // of digests and of what the gateway says of itself
  std::string body{};
  bool operator==(const MessageRow&) const = default;
};

struct MessageProgress {
  MessageState state = MessageState::waiting;
  int tries = 0;
  int unsure = 0;
  Time next_try{};
  std::optional<Time> sent{};
  std::int64_t sending = 0;  // lowest id of those that went in one message
  std::string answer{};
  bool operator==(const MessageProgress&) const = default;
};

struct KeptMessage {
  MessageRow row;
  MessageProgress progress;
  bool operator==(const KeptMessage&) const = default;
};

}  // namespace driftline::history
