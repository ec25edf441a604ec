#include "gateway/app/trial/play.h"

#include <algorithm>
#include <chrono>
#include <utility>
#include <variant>

#include "gateway/app/site_judge.h"

namespace driftline::trial {
namespace {

// As StationJudge (gateway/app/station_judge.cpp) does it, from what the rules were fed.
class Player {
 public:
  Player(const rules::StationContext& context, const TurnWatch& watch) : context_(context), watch_(watch) {}

  void take(const FedEvent& fed, const HalfCycle* turn) {
    const Time received = std::max(fed.received, last_taken_);
    const bool waited = fed.position == settled_by_waiting;
    // What waiting settles at a moment comes before what that moment makes due; a message's comes after.
    advance(waited ? received - std::chrono::milliseconds{1} : received);
    last_taken_ = std::max(last_taken_, waited ? received - std::chrono::milliseconds{1} : received);
    const fold::StepKey key{received, fed.position == settled_by_the_end ? 0 : fed.position};
    if (turn != nullptr)
      event_ = *turn;
    else
      std::visit([&](const auto& body) { set(body); }, fed.body);
    rules::judge(state_, event_, received, context_, judgements_, figures_);
    if (turn != nullptr && figures_ && watch_) watch_(*turn, *figures_, state_);
    hand_on(key);
  }

  void advance(Time until) {
    for (;;) {
      auto due = rules::wake_at(state_);
      if (!due) return;
      due = std::max(*due, last_taken_ + std::chrono::milliseconds{1});
      if (*due > until) return;
      rules::advance_to(state_, *due, context_, judgements_);
      hand_on({*due, 0});
      last_taken_ = *due;
    }
  }

  std::vector<fold::Step> steps;

 private:
  template <class Body>
  void set(const Body& body) {
    event_ = body;
  }
  void set(const TurnTold&) {}

  void hand_on(fold::StepKey key) {
    for (rules::Judgement& judgement : judgements_) steps.push_back({key, std::move(judgement)});
    judgements_.clear();
  }

  const rules::StationContext& context_;
  const TurnWatch& watch_;
  rules::StationState state_;
  Time last_taken_ = time_from_ms(0);
  StationEvent event_;
  std::vector<rules::Judgement> judgements_;
  std::optional<rules::TurnFigures> figures_;
};

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
