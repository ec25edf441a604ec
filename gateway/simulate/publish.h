// Plays a plant's messages against the clock: which are due now. The clock is the caller's.
#pragma once

#include <optional>
#include <vector>

#include "gateway/simulate/plant.h"

namespace driftline::simulate {

// Simulated time starts at the plan's `from`. The first `rush_days` come as fast as they are taken; then it runs `speed` times as
// fast as the clock until it has caught up with it; from then on it is the clock's. What a gateway judges is the stamps: thirty
// days arrive in minutes, in their right order.
class Playback {
 public:
  Playback(const PlantPlan& plan, double speed, double rush_days = 0);

  // Messages due at `elapsed_s` since the start of playing, wall clock `now`. Empty optional: the plan's days are over.
  [[nodiscard]] std::optional<std::vector<Message>> due(double elapsed_s, Time now);
  [[nodiscard]] Time simulated() const { return simulated_; }
  [[nodiscard]] bool rushing() const { return simulated_ < rush_until_; }

 private:
  Plant plant_;
  const Time from_;
  const double speed_;
  const Time rush_until_;
  double rushed_s_ = 0;  // when the rush was over
  Time simulated_;
  std::vector<Message> ahead_;
  std::size_t next_ = 0;
  bool over_ = false;
};

// Settings and presence are kept by the broker for whoever comes later.
[[nodiscard]] bool is_retained(std::string_view topic);

}  // namespace driftline::simulate
