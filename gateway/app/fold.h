// What the plant holds of a station and a site, and what one batch makes of them on its way to the rows. Inside plant.cpp,
// station_judge.cpp, site_judge.cpp and saved_fold.cpp; everybody else sees plant.h.
#pragma once

#include <algorithm>
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "gateway/app/plant.h"
#include "gateway/cycles/state.h"
#include "gateway/cycles/station_cycles.h"
#include "rules/judgement/site_state.h"
#include "rules/judgement/station_state.h"

namespace driftline::fold {

// When something was settled, in the order in which the plant's outputs stand: by gateway time; what waiting settled
// before what a message of the same millisecond settled; then by arrival.
struct StepKey {
  Time when{};
  Position position = 0;  // of the message; 0: settled by waiting
  auto operator<=>(const StepKey&) const = default;
};

struct JudgedTurn {
  HalfCycle half_cycle;
  TurnUsual usual;
};

struct Step {
  StepKey key;
  std::variant<JudgedTurn, rules::Judgement, Judged::FaultRow> what;
};

// How a message is to be read; settled by its topic.
struct Reading {
  TopicKind kind = TopicKind::telemetry;
  std::optional<std::size_t> mapping;  // empty: our own shape
};

struct Station {
  rules::StationContext context;
  bool configured = false;
  cycles::State cycles;
  rules::StationState rules;
  Position reached = 0;
  std::optional<Position> first_unsaved;
  Time last_taken{};  // nothing settles by waiting at or before this
  StationSummary summary;
  bool watched = false;
  std::vector<Sample> seen;  // of a watched one, in this batch
  std::vector<FedEvent> fed;  // since the state was saved last, if it is kept: a minute's worth

  // Filled by the judging of one batch, emptied by its gathering.
  std::vector<const PlantMessage*> waiting;
  std::vector<Reading> waiting_readings;
  std::vector<Step> steps;
};

struct Site {
  std::map<std::string, Station> stations;
  rules::SiteState state;
  Time last_taken{};
};

// A row for the batch, with the key that orders it among the rows of other sites.
template <class Row>
struct Keyed {
  StepKey key;
  Row row;
};

// What one site's part of a batch came to.
struct SiteOutput {
  std::vector<Keyed<Judged::HalfCycleRow>> half_cycles;
  std::vector<Keyed<WarningChange>> warnings;
  std::vector<Keyed<ReservoirDay>> reservoirs;
  std::vector<Keyed<ForecastDay>> forecasts;
  std::vector<Keyed<Judged::FaultRow>> faults;
  bool touched = false;  // the site's own state changed
};

inline std::optional<Time> wake_at(const Station& station) {
  const auto cycles = cycles::wake_at(station.cycles);
  const auto rules = rules::wake_at(station.rules);
  return cycles && rules ? std::min(*cycles, *rules) : cycles ? cycles : rules;
}

}  // namespace driftline::fold
