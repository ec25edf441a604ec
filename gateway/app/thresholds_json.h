// Thresholds as a configuration names them: one table, one line a field.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "gateway/app/config_json.h"
#include "rules/conditions/thresholds.h"

namespace driftline {

// What the merged layers say; what they do not say is built-in. The document has passed the schema.
[[nodiscard]] Thresholds thresholds_of(const Json& document);

// The other way: all that is not left to the rules, so that a patch can lie on it.
[[nodiscard]] Json document_of(const Thresholds& thresholds);

struct ThresholdLayer {
  std::string from;  // "rules.json"
  const Json* patch = nullptr;
};

// RFC 7396, layer upon layer.
[[nodiscard]] Json merged(const std::vector<ThresholdLayer>& layers);

// A patch that says the smallest shift in one way takes back the other ways: the nearest layer's counts. To be called on each patch
// that is laid over thresholds.
[[nodiscard]] Json completed(const Json& patch);

// Every threshold with its value and the layer that gave it.
[[nodiscard]] std::vector<EffectiveThreshold> explained(const std::vector<ThresholdLayer>& layers);

// The names of all fields: "plan_days", "conditions/slow-vent/watched".
[[nodiscard]] std::vector<std::string> threshold_names();

// What layers that each are right make together: plan under act, and so on. Remedies name the fields.
[[nodiscard]] std::vector<ConfigProblem> contradictions_in(const Thresholds& thresholds);

}  // namespace driftline
