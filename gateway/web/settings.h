// Settings of the page's server: the part "web" of gateway.json.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace driftline::web {

enum class Role : std::uint8_t { viewer, responder, engineer };

struct User {
  std::string name;
  Role role = Role::viewer;
  std::string password_hash;  // argon2id as a text that names its own parameters (crypto_pwhash_str)
  bool operator==(const User&) const = default;
};

struct TlsFiles {
  std::string certificate_file;  // PEM, with its chain
  std::string key_file;
  bool operator==(const TlsFiles&) const = default;
};

struct WebSettings {
  std::string address = "127.0.0.1";
  std::uint16_t port = 8420;  // 0: any free one
  std::optional<TlsFiles> tls;
  std::vector<std::string> trusted_proxies;  // addresses whose X-Forwarded-For and -Proto are believed
  std::vector<std::string> hosts;            // names under which the page is reached, besides its address
  std::vector<User> users;                   // none: open, allowed on loopback only
  bool operator==(const WebSettings&) const = default;
};

[[nodiscard]] bool is_loopback(const std::string& address);

}  // namespace driftline::web
