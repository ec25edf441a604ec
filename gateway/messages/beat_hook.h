// The call by which an outside watcher knows that the gateway lives: one POST of JSON, over libcurl. Whoever does not hear it for
// some time raises the alarm; that is for a gateway that cannot say anything any more.
#pragma once

#include <optional>
#include <string>

namespace driftline::messages {

// Blocks within beat_hook_limit_ms. Empty: answered with 2xx. Otherwise a sentence for a person.
[[nodiscard]] std::optional<std::string> call_beat_hook(const std::string& url, const std::optional<std::string>& ca_file, const std::string& body);

}  // namespace driftline::messages
