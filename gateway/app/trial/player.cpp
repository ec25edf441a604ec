#include "gateway/app/trial/player.h"

#include <algorithm>
#include <chrono>
#include <utility>
#include <variant>

namespace driftline::trial {
namespace {

template <class Body>
void set(StationEvent& event, const Body& body) {
  event = body;
}
void set(StationEvent&, const TurnTold&) {}

}  // namespace

void Player::take(const FedEvent& fed, const HalfCycle* turn) {
  const Time received = std::max(fed.received, last_taken);
  const bool waited = fed.position == settled_by_waiting;
  // What waiting settles at a moment comes before what that moment makes due; a message's comes after.
  advance(waited ? received - std::chrono::milliseconds{1} : received);
  last_taken = std::max(last_taken, waited ? received - std::chrono::milliseconds{1} : received);
  const fold::StepKey key{received, fed.position == settled_by_the_end ? 0 : fed.position};
  if (turn != nullptr)
    event_ = *turn;
  else
    std::visit([&](const auto& body) { set(event_, body); }, fed.body);
  rules::judge(state, event_, received, context, judgements_, figures_);
  if (turn != nullptr && figures_ && watch_) watch_(*turn, *figures_, state);
  hand_on(key);
}

void Player::advance(Time until) {
  for (;;) {
    auto due = rules::wake_at(state);
    if (!due) return;
    due = std::max(*due, last_taken + std::chrono::milliseconds{1});
    if (*due > until) return;
    rules::advance_to(state, *due, context, judgements_);
    hand_on({*due, 0});
    last_taken = *due;
  }
}

void Player::hand_on(fold::StepKey key) {
  for (rules::Judgement& judgement : judgements_) steps.push_back({key, std::move(judgement)});
  judgements_.clear();
}

}  // namespace driftline::trial
