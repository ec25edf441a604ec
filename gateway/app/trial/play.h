// What the rules of a station were fed, judged again with other thresholds. The same code as the running gateway, without
// decoding and reconstruction: with the thresholds that were in force it gives the same warnings to the byte, as long as the
// tape begins where the station's life began (tests/unit/app/trial_test.cpp).
#pragma once

#include <map>
#include <string>
#include <vector>

#include "gateway/app/trial/player.h"
#include "gateway/history/fed_tape.h"

namespace driftline::trial {

// Steps of one station up to `until`, nothing else of it: findings and reservoir days, in order.
[[nodiscard]] std::vector<fold::Step> play(const history::FedTape& tape, const rules::StationContext& context, Time until,
                                           const TurnWatch& watch = {});

// What a site made of its stations' steps.
struct SiteStory {
  std::vector<WarningChange> warnings;
  std::vector<ReservoirDay> reservoirs;
  std::vector<ForecastDay> forecasts;
};

// `stations`: steps by station name.
[[nodiscard]] SiteStory play_site(const std::string& site, std::map<std::string, std::vector<fold::Step>> stations, Time until);

}  // namespace driftline::trial
