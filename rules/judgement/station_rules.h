// The judgement of one station, and of a site over its stations. Pure: time comes in as data, nothing is read or logged.
//
// Station: events of reconstruction -> findings and reservoir days. Site: findings of its stations, in the order in which
// they were made -> warning changes and forecast days.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rules/conditions/thresholds.h"
#include "rules/records/finding.h"
#include "rules/records/identity.h"
#include "rules/records/settings.h"
#include "rules/records/station_event.h"
#include "rules/records/warning.h"

namespace driftline::rules {

struct StationContext {
  StationId id;
  StationDesign design;
  Thresholds thresholds;
  bool operator==(const StationContext&) const = default;
};

using Judgement = std::variant<Finding, ReservoirDay>;

struct StationState;  // rules/judgement/station_state.h
struct TurnFigures;   // rules/judgement/figures.h

// `received` is the gateway's clock at which the event became known; it never goes back.
void judge(StationState& state, const StationEvent& event, Time received, const StationContext& context,
           std::vector<Judgement>& out);
// The same; `figures` are what a turn's charts made of it, empty where the event was no turn or one that is not charted.
void judge(StationState& state, const StationEvent& event, Time received, const StationContext& context,
           std::vector<Judgement>& out, std::optional<TurnFigures>& figures);
[[nodiscard]] std::optional<Time> wake_at(const StationState& state);
// Nothing was settled until `now`. Called late or twice it gives what calling it at each wake_at would have given.
void advance_to(StationState& state, Time now, const StationContext& context, std::vector<Judgement>& out);
[[nodiscard]] std::string save(const StationState& state);
[[nodiscard]] std::optional<StationState> load_station(std::string_view bytes);

using SiteOutput = std::variant<WarningChange, ForecastDay>;

struct SiteState;  // rules/judgement/site_state.h

void judge(SiteState& state, const StationId& station, const Finding& finding, Time received,
           std::vector<SiteOutput>& out);
[[nodiscard]] std::optional<Time> wake_at(const SiteState& state);
void advance_to(SiteState& state, Time now, std::vector<SiteOutput>& out);
[[nodiscard]] std::string save(const SiteState& state);
[[nodiscard]] std::optional<SiteState> load_site(std::string_view bytes);

}  // namespace driftline::rules
