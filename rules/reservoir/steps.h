// The steps of reservoir.h that more than one of its files takes.
#pragma once

#include "rules/reservoir/reservoir.h"

namespace driftline::rules::reservoir {

// use.cpp
struct TurnUse {
  double nominal = 1;
  double spread = 0;
};
void start(State& state, const StationDesign& design);
[[nodiscard]] TurnUse use_of(const State& state, const HalfCycle& turn, const StationDesign& design);
// A silence counts as neither use nor time; `missed` is then how many turns it may have held.
void count_turn(State& state, const TurnUse& use, Time start, double& missed);
void follow_time(State& state, const HalfCycle& turn);
void learn_usual(State& state, double used_pct);
void judge_use_shift(State& state, const Thresholds& thresholds);
void remember_use(State& state);

void expect_usual_use(State& state);

// level.cpp
void restart_level(State& state, double reading);
// A block of readings before `until`, as one.
void use_readings(State& state, Time until, const Context& context);
void check_stuck(State& state);
void take_level(State& state, const LevelReading& reading, double level);

// A reading long after the last turn: nothing should leave now.
void mind_rest(State& state, Time time, double rested_from_s);
// A turn: what left at rest goes on beside what the turns use.
void end_rest(State& state);

// switch.cpp
// Nothing read how far it was filled: what people do, and what was done here before.
void guess_refill(State& state);
void take_switch(State& state, bool made, const Context& context);
// Nothing reads the level: with the switch open it is over the low mark, with turns still reached over the empty mark.
void mind_floors(State& state, const Context& context, bool reached);

}  // namespace driftline::rules::reservoir
