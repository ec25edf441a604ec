// How to reach the broker, and under which names. Filled by configuration; nothing here is a secret: user and
// password are read at each connect from where these settings point to, so that a change of them needs no
// restart.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gateway/telemetry/limits.h"

namespace driftline::broker {

enum class Protocol : std::uint8_t { mqtt_5, mqtt_3_1_1 };

// TLS is used when this is given. The chain and the host name are always checked.
struct TlsSettings {
  std::string ca_file;                          // PEM; empty: the system's store
  std::optional<std::string> certificate_file;  // PEM chain; our own, where the broker asks for one
  std::optional<std::string> key_file;          // PEM
  bool operator==(const TlsSettings&) const = default;
};

struct BrokerSettings {
  std::string host = "127.0.0.1";
  std::uint16_t port = 1883;
  Protocol protocol = Protocol::mqtt_5;
  std::string client_id =
      "driftline";  // the broker keeps our session under it; "-out" is added for the publisher
  std::string telemetry_root = "grease";
  std::vector<std::string>
      more_filters;  // subscribed to as well: where stations speak that are read by a mapping
  std::string output_root = "driftline";     // must not lie under telemetry_root
  std::optional<std::string> user;           // or user_env
  std::optional<std::string> user_env;       // name of an environment variable
  std::optional<std::string> password_file;  // first line, without its line end
  std::optional<std::string> password_env;
  std::optional<TlsSettings> tls;
  int keep_alive_s = 30;                       // keep_alive_s_min..
  std::uint32_t session_expiry_s = 7 * 86400;  // how long the broker keeps what we have not heard (MQTT 5)
  std::size_t payload_bytes_max =
      telemetry_limits::payload_bytes_max;  // the decoder's bound; only tests set another
  int retry_s_min = 1;                      // back-off between attempts to connect
  int retry_s_max = 60;
  bool operator==(const BrokerSettings&) const = default;
};

}  // namespace driftline::broker
