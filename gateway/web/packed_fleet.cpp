#include "gateway/web/packed_fleet.h"

#include "gateway/metrics/gzip.h"

namespace driftline::web {
namespace {

constexpr std::chrono::seconds old_after{15};

}  // namespace

PackedFleet::Both PackedFleet::get(const std::shared_ptr<const FleetNow>& now, std::size_t strips, std::chrono::nanoseconds steady, const Make& make) {
  const std::lock_guard guard(mutex_);
  if (now_ && strips == strips_ && now->revision == now_->revision && steady - made_at_ < old_after) return both_;
  both_.plain = std::make_shared<const std::string>(make());
  both_.gzip = std::make_shared<const std::string>(metrics::gzipped(*both_.plain));
  both_.tag = std::to_string(now->revision) + "-" + std::to_string(++made_) + "-" + run_;
  now_ = now;
  strips_ = strips;
  made_at_ = steady;
  return both_;
}

}  // namespace driftline::web
