// A configuration file as JSON: comments allowed, bounded, no key twice. For gateway/app/config*.cpp only;
// the one header that names the JSON library, by its forward declaration.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "gateway/app/config.h"

namespace driftline {

using Json = nlohmann::json;

// Puts what is wrong into `problems` and gives nothing then. `name` is what the file is called in problems.
[[nodiscard]] std::optional<Json> read_json_file(const std::string& path, const std::string& name,
                                                 std::vector<ConfigProblem>& problems);
[[nodiscard]] std::optional<Json> read_json_text(std::string_view text, const std::string& name,
                                                 std::vector<ConfigProblem>& problems);

// RFC 6901: "~" and "/" of a key are escaped.
[[nodiscard]] std::string pointer_step(std::string_view key);

// A value as a person may be shown it: one line, cut.
[[nodiscard]] std::string shown(const Json& value);

}  // namespace driftline
