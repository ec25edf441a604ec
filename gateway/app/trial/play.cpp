#include "gateway/app/trial/play.h"

#include <utility>

#include "gateway/app/site_judge.h"

namespace driftline::trial {
namespace {

template <class Row>
std::vector<Row> rows_of(std::vector<fold::Keyed<Row>>& keyed) {
  std::vector<Row> rows;
  for (auto& row : keyed) rows.push_back(std::move(row.row));
  return rows;
}

}  // namespace

std::vector<fold::Step> play(const history::FedTape& tape, const rules::StationContext& context, Time until, const TurnWatch& watch) {
  Player player(context, watch);
  (void)tape.play([&](const FedEvent& fed, const HalfCycle* turn) {
    if (fed.received <= until) player.take(fed, turn);
  });
  player.advance(until);
  return std::move(player.steps);
}

SiteStory play_site(const std::string& site_name, std::map<std::string, std::vector<fold::Step>> stations, Time until) {
  fold::Site site;
  site.last_taken = time_from_ms(0);
  for (auto& [name, steps] : stations) {
    fold::Station& station = site.stations[name];
    station.context.id = {site_name, name};
    station.steps = std::move(steps);
  }
  fold::SiteOutput out;
  fold::SiteJudge(site, out).judge(until);
  return {rows_of(out.warnings), rows_of(out.reservoirs), rows_of(out.forecasts)};
}

}  // namespace driftline::trial
