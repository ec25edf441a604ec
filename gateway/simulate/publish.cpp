#include "gateway/simulate/publish.h"

#include <algorithm>
#include <cmath>

namespace driftline::simulate {

Playback::Playback(const PlantPlan& plan, double speed) : plant_(plan), from_(plan.from), speed_(speed), simulated_(plan.from) {}

std::optional<std::vector<Message>> Playback::due(double elapsed_s, Time now) {
  simulated_ = std::max(simulated_, std::min(later_by_s(from_, elapsed_s * speed_), std::max(now, from_)));
  std::vector<Message> out;
  for (;;) {
    while (next_ < ahead_.size() && ahead_[next_].received <= simulated_) out.push_back(std::move(ahead_[next_++]));
    if (next_ < ahead_.size()) return out;
    if (over_) return out.empty() ? std::nullopt : std::optional(std::move(out));
    const double made_s = plant_.at_days() * 86400;
    if (from_ + std::chrono::milliseconds(std::llround(made_s * 1000)) > simulated_) return out;
    ahead_.clear();
    next_ = 0;
    over_ = !plant_.next(std::clamp(speed_ * 0.2, 1.0, 1800.0), ahead_);
  }
}

bool is_retained(std::string_view topic) { return topic.ends_with("/settings") || topic.ends_with("/presence"); }

}  // namespace driftline::simulate
