#include "gateway/app/site_judge.h"

#include <algorithm>
#include <chrono>
#include <utility>
#include <variant>

namespace driftline::fold {

void SiteJudge::judge(Time batch_end) {
  struct Placed {
    Step* step;
    Station* station;
  };
  std::vector<Placed> placed;
  for (auto& [name, station] : site_.stations)
    for (Step& step : station.steps) placed.push_back({&step, &station});
  // Stations stand in the order of their names, and a station's own steps in the order in which they were settled.
  std::stable_sort(placed.begin(), placed.end(),
                   [](const Placed& a, const Placed& b) { return a.step->key < b.step->key; });
  for (const Placed& p : placed) {
    advance(p.step->key.when);
    take(*p.step, *p.station);
  }
  advance(batch_end);
}

void SiteJudge::take(Step& step, const Station& station) {
  const StationId& id = station.context.id;
  if (auto* turn = std::get_if<JudgedTurn>(&step.what)) {
    out_.half_cycles.push_back({step.key, {id, std::move(turn->half_cycle), turn->usual}});
  } else if (auto* fault = std::get_if<Judged::FaultRow>(&step.what)) {
    out_.faults.push_back({step.key, std::move(*fault)});
  } else {
    auto& judgement = std::get<rules::Judgement>(step.what);
    if (auto* day = std::get_if<ReservoirDay>(&judgement)) {
      out_.reservoirs.push_back({step.key, std::move(*day)});
    } else {
      rules::judge(site_.state, id, std::get<Finding>(judgement), step.key.when, site_outputs_);
      out_.touched = true;
      hand_on(step.key);
    }
  }
}

void SiteJudge::advance(Time until) {
  for (;;) {
    auto due = rules::wake_at(site_.state);
    if (!due) break;
    due = std::max(*due, site_.last_taken + std::chrono::milliseconds{1});
    if (*due > until) break;
    rules::advance_to(site_.state, *due, site_outputs_);
    site_.last_taken = *due;
    out_.touched = true;
    hand_on({*due, 0});
  }
}

void SiteJudge::hand_on(StepKey key) {
  for (rules::SiteOutput& output : site_outputs_) {
    if (auto* change = std::get_if<WarningChange>(&output))
      out_.warnings.push_back({key, std::move(*change)});
    else
      out_.forecasts.push_back({key, std::move(std::get<ForecastDay>(output))});
  }
  site_outputs_.clear();
}

}  // namespace driftline::fold
