// All stations of a plan, day by day: messages in order of arrival, then the truth. Equal plans give equal bytes.
#pragma once

#include <functional>
#include <memory>
#include <vector>

#include "gateway/simulate/plan.h"
#include "gateway/simulate/truth.h"
#include "gateway/telemetry/decode.h"

namespace driftline::simulate {

class Plant {
 public:
  explicit Plant(const PlantPlan& plan);
  ~Plant();

  // What arrives in the next stretch of `stretch_s`, sorted by arrival; false when the plan's days are over.
  [[nodiscard]] bool next(double stretch_s, std::vector<Message>& out);
  [[nodiscard]] double at_days() const;
  [[nodiscard]] std::vector<StationTruth> take_truth();

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

}  // namespace driftline::simulate
