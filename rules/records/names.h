// The vocabulary as text: what stands in configuration, messages, rows and metrics, and back.
#pragma once

#include <optional>
#include <string_view>

#include "rules/records/finding.h"
#include "rules/records/half_cycle.h"
#include "rules/records/station_event.h"
#include "rules/records/warning.h"

namespace driftline {

[[nodiscard]] std::string_view name_of(Outcome);
[[nodiscard]] std::string_view name_of(Condition);
[[nodiscard]] std::string_view name_of(Cause);
[[nodiscard]] std::string_view name_of(Urgency);
[[nodiscard]] std::string_view name_of(Change);
[[nodiscard]] std::string_view name_of(ServiceKind);
[[nodiscard]] std::string_view name_of(SensorTrouble);

// Empty for a word that is not in the vocabulary. Case matters.
[[nodiscard]] std::optional<Condition> condition_named(std::string_view);
[[nodiscard]] std::optional<Cause> cause_named(std::string_view);
[[nodiscard]] std::optional<Urgency> urgency_named(std::string_view);
[[nodiscard]] std::optional<ServiceKind> service_kind_named(std::string_view);

}  // namespace driftline
