// A station's rules fed again, one event after the other: what StationJudge (gateway/app/station_judge.cpp) does live, without
// decoding and reconstruction. For play.h, which plays a tape, and silent.h, which follows one that grows.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "gateway/app/fold.h"
#include "rules/judgement/figures.h"

namespace driftline::trial {

// What a turn's charts made of it, as it is judged.
using TurnWatch = std::function<void(const HalfCycle&, const rules::TurnFigures&, const rules::StationState&)>;

class Player {
 public:
  explicit Player(rules::StationContext with, TurnWatch watch = {}) : context(std::move(with)), watch_(std::move(watch)) {}

  // `turn`: of a TurnTold.
  void take(const FedEvent& fed, const HalfCycle* turn);
  void advance(Time until);

  rules::StationContext context;  // may be changed between two events, as a reload does
  rules::StationState state;
  Time last_taken = time_from_ms(0);
  std::vector<fold::Step> steps;  // findings and reservoir days, in order; the caller takes them out

 private:
  void hand_on(fold::StepKey key);

  TurnWatch watch_;
  StationEvent event_;
  std::vector<rules::Judgement> judgements_;
  std::optional<rules::TurnFigures> figures_;
};

}  // namespace driftline::trial
