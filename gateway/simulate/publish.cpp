#include "gateway/simulate/publish.h"

#include <algorithm>
#include <cmath>

namespace driftline::simulate {

namespace {
constexpr auto rush_step = std::chrono::hours{2};  // some thousand messages of a dozen stations
}

Playback::Playback(const PlantPlan& plan, double speed, double rush_days)
    : plant_(plan), from_(plan.from), speed_(speed), rush_until_(later_by_s(plan.from, rush_days * 86400)), simulated_(plan.from) {}

std::optional<std::vector<Message>> Playback::due(double elapsed_s, Time now) {
  if (rushing()) {
    simulated_ = std::min(simulated_ + rush_step, rush_until_);
    rushed_s_ = elapsed_s;
  } else {
    const Time start = std::max(from_, rush_until_);
    simulated_ = std::max(simulated_, std::min(later_by_s(start, (elapsed_s - rushed_s_) * speed_), std::max(now, from_)));
  }
  std::vector<Message> out;
  for (;;) {
    while (next_ < ahead_.size() && ahead_[next_].received <= simulated_) out.push_back(std::move(ahead_[next_++]));
    if (next_ < ahead_.size()) return out;
    if (over_) return out.empty() ? std::nullopt : std::optional(std::move(out));
    const double made_s = plant_.at_days() * 86400;
    if (from_ + std::chrono::milliseconds(std::llround(made_s * 1000)) > simulated_) return out;
    ahead_.clear();
    next_ = 0;
    over_ = !plant_.next(rushing() ? 1800.0 : std::clamp(speed_ * 0.2, 1.0, 1800.0), ahead_);
  }
}

bool is_retained(std::string_view topic) { return topic.ends_with("/settings") || topic.ends_with("/presence"); }

}  // namespace driftline::simulate
