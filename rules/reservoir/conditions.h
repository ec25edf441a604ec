// What the reservoir's state amounts to: the four conditions, held and let go without flapping.
#pragma once

#include "rules/reservoir/reservoir.h"

namespace driftline::rules::reservoir {

// Says what has changed since the last judgement; with `again`, also what still holds. `time` is the judgement's.
void judge_conditions(State& state, Time time, const Context& context, bool again, std::vector<Output>& out);

}  // namespace driftline::rules::reservoir
