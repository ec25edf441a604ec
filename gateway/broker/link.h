// One connection to the broker: what Source and Publisher share, and the only file pair that knows Paho.
//
// Paho's automatic reconnect is off: with it a refusal after the first attempt (a password that was changed,
// a broker that lost our rights) is retried in silence and the presence of a session stays unknown. Instead
// the owner's thread calls connect() again, with its own back-off; each attempt says why it failed. The
// client object is made once and lives as long as the Link.
//
// Paho C runs one receiving and one sending thread for all clients of the process and holds a library-wide
// mutex while it calls us. Hence: `message` and `lost` may not call into this class (except `sever`) and may
// not block for long; every other call belongs to the owner's one thread.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "gateway/broker/settings.h"

namespace driftline::broker {

// Why a connection could not be made or kept. Closed list; the words go into logs and metrics.
enum class LinkTrouble : std::uint8_t {
  credentials_unreadable,  // ours; the broker was not asked
  unreachable,             // name, network, nobody listening
  tls,                     // certificate, host name, protocol
  not_authorised,          // user, password or rights
  refused,                 // the broker said no for another reason
  no_answer,               // within the time allowed
  lost,                    // a connection that was good has ended
  taken_over,              // another client came with our client id
};
[[nodiscard]] std::string_view name_of(LinkTrouble trouble);

struct LinkFailure {
  LinkTrouble trouble = LinkTrouble::unreachable;
  std::string text;  // for a person
};

struct Will {
  std::string topic;
  std::string payload;
};

struct Outgoing {
  std::string topic;
  std::string payload;
  bool retained = false;
};

struct LinkHandlers {
  std::function<void(std::string_view topic, std::string_view payload)>
      message;  // acknowledged when it returns
  std::function<void(const LinkFailure&)> lost;
};

enum class Session : std::uint8_t {
  kept,
  fresh
};  // kept: clean start off and an expiry; fresh: nothing is kept

class Link {
 public:
  Link(const BrokerSettings& settings, std::string client_id, Session session, std::optional<Will> will,
       LinkHandlers handlers);
  ~Link();
  Link(const Link&) = delete;
  Link& operator=(const Link&) = delete;

  // Empty: connected. Blocks up to connect_max.
  [[nodiscard]] std::optional<LinkFailure> connect();
  [[nodiscard]] bool session_present() const;  // of the last good connect()

  // At QoS 1. Retained messages come with a new subscription only (MQTT 5), with each one before.
  [[nodiscard]] std::optional<LinkFailure> subscribe(const std::string& filter);

  // At QoS 1, in order. Empty: the broker has confirmed every one of them. Otherwise any part may have
  // arrived.
  [[nodiscard]] std::optional<LinkFailure> publish(std::span<const Outgoing> messages,
                                                   std::chrono::milliseconds confirm_within);

  void disconnect();

  // Cuts the connection under Paho's feet, so that what has not been acknowledged cannot be any more and the
  // broker sends it again: the library has no way to refuse a message (it acknowledges whatever the callback
  // says). Shuts down the sockets that the last connect() opened; callable inside `message`.
  void sever();

  [[nodiscard]] const std::string& client_id() const;

 private:
  struct Client;
  std::unique_ptr<Client> client_;
};

}  // namespace driftline::broker
