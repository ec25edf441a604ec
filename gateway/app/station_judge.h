// The fold of one station: its messages of a batch, in their order, with its own waiting in between.
#pragma once

#include <vector>

#include "gateway/app/fold.h"
#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/mapped.h"
#include "rules/judgement/figures.h"

namespace driftline::fold {

// Owns what one thread uses again from station to station. A broken invariant sets the station aside and goes no further.
class StationJudge {
 public:
  StationJudge(MappedDecoder mapped, bool keep_fed) : mapped_(std::move(mapped)), keep_fed_(keep_fed) {}

  // Takes what waits at the station, then what silence until `batch_end` brings. Leaves the steps in the station.
  void judge_batch(Station& station, Time batch_end);
  // The end of a recording: settles open turns.
  void finish(Station& station, Time now);

 private:
  void take_waiting(Station& station, Time batch_end);
  void take(Station& station, const PlantMessage& arrived, Reading reading);
  void advance(Station& station, Time until);
  void decode(const Message& message, Reading reading);
  void hand_on_events(Station& station, StepKey key, Position fed_position);
  void hand_on_judgements(Station& station, StepKey key);

  NativeDecoder native_;
  MappedDecoder mapped_;
  bool keep_fed_;
  Decoded decoded_;
  std::vector<StationEvent> events_;
  std::vector<rules::Judgement> judgements_;
  std::optional<rules::TurnFigures> figures_;
};

}  // namespace driftline::fold
