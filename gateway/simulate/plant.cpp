#include "gateway/simulate/plant.h"

#include <algorithm>
#include <map>

#include "gateway/simulate/rng.h"
#include "gateway/simulate/station.h"
#include "rules/records/require.h"

namespace driftline::simulate {

struct Plant::Parts {
  explicit Parts(const PlantPlan& given) : plan(given) {}
  PlantPlan plan;
  std::vector<std::unique_ptr<Station>> stations;
  double now_s = 0;
};

Plant::Plant(const PlantPlan& plan) : parts_(std::make_unique<Parts>(plan)) {
  std::map<std::string, std::pair<const SitePlan*, Weather>> sites;
  for (const SitePlan& site : parts_->plan.sites)
    sites.emplace(site.name, std::pair(&site, Weather(site.climate, seed_for(plan.seed, site.name), plan.from, plan.days)));
  for (const StationPlan& station : parts_->plan.stations) {
    const auto site = sites.find(station.site);
    require(site != sites.end(), "a station stands at a site of its plan");
    parts_->stations.push_back(std::make_unique<Station>(parts_->plan, *site->second.first, station, site->second.second));
  }
}

Plant::~Plant() = default;

bool Plant::next(double stretch_s, std::vector<Message>& out) {
  const double end_s = parts_->plan.days * 86400;
  if (parts_->now_s >= end_s) return false;
  parts_->now_s = std::min(end_s, parts_->now_s + stretch_s);
  const std::size_t before = out.size();
  for (auto& station : parts_->stations) station->run_until(parts_->now_s, out);
  // Stable: at equal times stations come in the plan's order.
  std::ranges::stable_sort(out.begin() + static_cast<std::ptrdiff_t>(before), out.end(), {}, &Message::received);
  return true;
}

double Plant::at_days() const { return parts_->now_s / 86400; }

std::vector<StationTruth> Plant::take_truth() {
  std::vector<StationTruth> all;
  for (auto& station : parts_->stations) all.push_back(station->take_truth());
  return all;
}

}  // namespace driftline::simulate
