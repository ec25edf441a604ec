// User and password, from where the settings point to. Never from an argument, never logged.
#pragma once

#include <optional>
#include <string>

#include "gateway/broker/settings.h"

namespace driftline::broker {

struct Credentials {
  std::optional<std::string> user;
  std::optional<std::string> password;
};

struct CredentialsOutcome {
  Credentials credentials;
  std::optional<std::string> problem;  // for a person; names the file or variable, never what is in it
};

[[nodiscard]] CredentialsOutcome read_credentials(const BrokerSettings& settings);

}  // namespace driftline::broker
