// The conditions of a line after one of its turns: which hold, how urgent, why, and what lies behind them.
//
// slow-to-pressure      its chart signals upwards (rules/conditions/drift_chart.h), or the chart of its difference to the other
//                       lines does and it is this line that moved; or the time is within 13 % of the pump limit, or today's air
//                       will bring it there. Of the whole station where all lines moved by one factor.
// quick-to-pressure     likewise downwards
// pressure-not-reached  at once; `act` when two of the last four turns missed
// residual-pressure     two turns in a row over the limit, one half over it, the chart, or grease forced in from outside: one
//                       turn that starts 6 deviations and 2 bar high and is short
// slow-vent, peak-shift their charts
// doubtful-sensor       rest pressure under -1 bar, or what reconstruction reports
//
// Urgency of a drift, with the forecast of rules/conditions/wear_forecast.h:
//   act     early end of the 80 % interval within act_days, middle within twice that, and the time over 75 % of the limit; or
//           at 97 % of the limit
//   plan    middle within plan_days or early end within half of them; or at 93 % of the limit
//   notice  else
// Raised at once, let go and relaxed only after calm turns (rules/warnings/held.h).
//
// One cause raises one warning: a condition that another, already open on the line or on the whole station, explains is held
// back (see `explained`). What was held back still is evidence for the cause of the one that is open.
#pragma once

#include <vector>

#include "rules/judgement/figures.h"
#include "rules/judgement/station_rules.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {

struct Turn {
  const HalfCycle& cycle;
  const TurnFigures& figures;
  Time time{};  // of the judgement
  const StationContext& context;
  ControllerSettings settings;
};

void judge_line(StationState& state, LineState& line, const Turn& turn, std::vector<Judgement>& out);

}  // namespace driftline::rules
