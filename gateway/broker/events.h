// What this room says and counts. `client` is an MQTT client id, `broker` host:port.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string_view>

#include "gateway/broker/link.h"

namespace driftline::broker::events {

// `session_kept`: whether the broker had kept the session that was asked for; empty: none was.
void connected(std::string_view client, std::string_view broker, std::optional<bool> session_kept);
void connect_failed(std::string_view client, const LinkFailure& failure, double retry_in_s);
void connection_lost(std::string_view client, const LinkFailure& failure);
void disconnected(std::string_view client);
void payload_cut(std::string_view topic, std::size_t bytes, std::size_t bound);
void journal_refuses(std::string_view topic);           // an append failed; waiting for it
void journal_takes_again(std::uint64_t refused);        // after that
void message_left_with_broker(std::string_view topic);  // the connection is cut so that it comes again
void callback_slow(std::chrono::milliseconds took);
void callback_threw(std::string_view what);
void publishing_stopped(std::string_view client, const LinkFailure& failure);
void outbox_unreadable(std::string_view cause, std::string_view text);
void act_dropped(std::string_view client);  // too many wait
void published(std::uint64_t messages);  // a count, no line

}  // namespace driftline::broker::events
