// After a repair: are the figures back where they were?
//
// The old baseline is the yardstick: it is what the line was in good order, so a repair does not forget it. For `repair_turns`
// turns nothing is learnt and no drift is called. Then the mean error of the time to pressure tells:
//   still more than 60 % of the shift there was before  -> not back; the warning stays, is at least `plan`, and is watched on
//                                                          for two weeks, because air may hide that the repair worked
//   else                                                -> back; warnings of the line end with that reason, and the baseline
//                                                          may settle again: an opened line has air to lose, and its level
//                                                          may differ a little.
// A repair that nobody noted shows as an open shift of 6 % and more that is half gone for three turns in a row.
#pragma once

#include <vector>

#include "rules/judgement/line_conditions.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {

inline constexpr int repair_turns = 6;

void start_repair_check(StationState& state, LineState& line, Time noted_at);

// After each turn of the line, once it was judged.
void follow_repair(StationState& state, LineState& line, const Turn& turn, std::vector<Judgement>& out);

}  // namespace driftline::rules
