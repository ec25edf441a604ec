// A document against one of config/schema/*.schema.json, which are part of the program.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/app/config_json.h"

namespace driftline {

enum class ConfigSchema : std::uint8_t { gateway, plant, thresholds, users, duty };

[[nodiscard]] std::string_view schema_text(ConfigSchema schema);  // made from config/schema at build

// Everything in which `document` departs from the schema. `at` of the problems begins with `under`.
void check_schema(ConfigSchema schema, const Json& document, const std::string& file,
                  const std::string& under, std::vector<ConfigProblem>& problems);

// The name in `known` that was probably meant: at most two letters away, and less than half of it.
[[nodiscard]] std::string_view nearest_name(std::string_view name, const std::vector<std::string>& known);

// Names of properties that the schema knows at a JSON Pointer of the document; empty where it knows none.
[[nodiscard]] std::vector<std::string> known_names(ConfigSchema schema, const std::string& pointer);

}  // namespace driftline
