// The reservoir of a station as its rules see it now, between the rows of the days.
#pragma once

#include <optional>

#include "rules/judgement/station_rules.h"
#include "rules/records/warning.h"

namespace driftline::rules {

// At `now`, the gateway's clock; of a station whose stamps lie further behind than a day: at its last event. Empty: nothing has been
// heard of its reservoir. `date` is that moment.
[[nodiscard]] std::optional<ReservoirDay> reservoir_now(const StationState& state, Time now, const StationContext& context);

}  // namespace driftline::rules
