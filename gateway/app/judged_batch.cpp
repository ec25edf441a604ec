#include "gateway/app/judged_batch.h"

#include <iterator>
#include <utility>

namespace driftline {
namespace {

template <class T>
void append(std::vector<T>& to, std::vector<T>&& from) {
  if (to.empty())
    to = std::move(from);
  else
    to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
}

}  // namespace

void append_judged(history::Batch& batch, Judged&& judged) {
  for (auto& row : judged.half_cycles)
    batch.half_cycles.push_back({std::move(row.station), std::move(row.half_cycle), row.usual});
  for (auto& row : judged.fed) batch.fed.push_back({std::move(row.station), std::move(row.event)});
  append(batch.warnings, std::move(judged.warnings));
  append(batch.reservoir_days, std::move(judged.reservoirs));
  append(batch.forecast_days, std::move(judged.forecasts));
  for (auto& row : judged.faults)
    batch.faults.push_back(
        {row.received, std::move(row.topic), std::move(row.station), std::move(row.fault)});
  for (auto& state : judged.stations) {
    // The plant names what it has written of messages without a station by an empty id; `taken_to` says the
    // same.
    if (state.station == StationId{}) continue;
    batch.station_states.push_back({std::move(state.station), state.reached + 1, std::move(state.bytes)});
  }
  for (auto& state : judged.sites)
    batch.site_states.push_back({std::move(state.site), 0, std::move(state.bytes)});
}

bool is_empty(const history::Batch& batch) {
  return batch.half_cycles.empty() && batch.warnings.empty() && batch.reservoir_days.empty() &&
         batch.forecast_days.empty() && batch.faults.empty() && batch.station_states.empty() &&
         batch.site_states.empty();
}

std::vector<std::string> restore(Plant& plant, const history::SavedStates& states) {
  std::vector<std::string> unreadable;
  for (const auto& row : states.stations)
    if (!plant.restore(row.station, row.bytes))
      unreadable.push_back(row.station.site + "/" + row.station.station);
  for (const auto& row : states.sites)
    if (!plant.restore_site(row.site, row.bytes)) unreadable.push_back(row.site);
  if (states.taken_to > 0) plant.restore_unplaced(states.taken_to - 1);
  return unreadable;
}

}  // namespace driftline
