// Password and token, from where the settings point to. Never logged, never in a type that can be printed.
#pragma once

#include <optional>
#include <string>

namespace driftline::metrics {

struct SecretOutcome {
  std::optional<std::string> secret;   // empty too where neither source is named
  std::optional<std::string> problem;  // for a person; names the file or variable, never what is in it
};

// The file wins where both are named.
[[nodiscard]] SecretOutcome read_secret(const std::optional<std::string>& file, const std::optional<std::string>& env);

}  // namespace driftline::metrics
