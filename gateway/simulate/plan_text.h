// Plans as JSON: an own plant described by hand, a drawn one written down for editing; and the plant file, what an engineer
// knows of each station at commissioning.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "gateway/simulate/plan.h"

namespace driftline::simulate {

// Fields that are absent keep their defaults. The error is a sentence.
[[nodiscard]] tl::expected<PlantPlan, std::string> read_plan(std::string_view text);
[[nodiscard]] std::string plan_text(const PlantPlan& plan);

// {"topic_root":..., "stations":[{"site","station","lines","target_bar",...,"design":{"length_m":[...],...}}]}
[[nodiscard]] std::string plant_file_text(const PlantPlan& plan);

[[nodiscard]] std::optional<Form> form_named(std::string_view name);

}  // namespace driftline::simulate
