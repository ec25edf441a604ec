// The conditions of a line after one of its turns: which hold, how urgent, why, and what lies behind them.
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
