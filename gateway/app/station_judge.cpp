#include "gateway/app/station_judge.h"

#include <algorithm>
#include <chrono>
#include <utility>

#include "rules/records/require.h"

namespace driftline::fold {
namespace {

constexpr double unusable_every_s = 60;  // as often as a station's heartbeat

FedBody body_of(const StationEvent& event) {
  return std::visit(
      [](const auto& one) -> FedBody {
        if constexpr (std::is_same_v<std::decay_t<decltype(one)>, HalfCycle>)
          return TurnTold{};
        else
          return one;
      },
      event);
}

// Faults, and beside them nothing.
bool nothing_of_use(const Decoded& decoded) {
  return !decoded.faults.empty() && decoded.samples.empty() && !decoded.settings && !decoded.presence && !decoded.note;
}

bool heard_so_lately(const Station& station, Time received) {
  const auto last = station.rules.hearing.last_unusable;
  return last && seconds_between(*last, received) < unusable_every_s;
}

}  // namespace

void StationJudge::judge_batch(Station& station, Time batch_end) {
  try {
    if (!station.summary.set_aside) take_waiting(station, batch_end);
  } catch (const BrokenInvariant&) {
    station.summary.set_aside = true;
  }
  station.waiting.clear();
  station.waiting_readings.clear();
}

void StationJudge::finish(Station& station, Time now) {
  try {
    if (station.summary.set_aside) return;
    events_.clear();
    cycles::finish(station.cycles, station.context.design.settings, events_);
    hand_on_events(station, StepKey{now, 0}, settled_by_the_end);
  } catch (const BrokenInvariant&) {
    station.summary.set_aside = true;
  }
}

void StationJudge::advance(Station& station, Time until) {
  for (;;) {
    auto due = wake_at(station);
    if (!due) return;
    due = std::max(*due, station.last_taken + std::chrono::milliseconds{1});
    if (*due > until) return;
    const StepKey key{*due, 0};
    events_.clear();
    cycles::advance_to(station.cycles, *due, station.context.design.settings, events_);
    hand_on_events(station, key, settled_by_waiting);
    rules::advance_to(station.rules, *due, station.context, judgements_);
    hand_on_judgements(station, key);
    station.last_taken = *due;
  }
}

void StationJudge::take_waiting(Station& station, Time batch_end) {
  for (std::size_t i = 0; i < station.waiting.size(); ++i) take(station, *station.waiting[i], station.waiting_readings[i]);
  advance(station, batch_end);
}

void StationJudge::take(Station& station, const PlantMessage& arrived, Reading reading) {
  const Message& message = arrived.message;
  const Time received = std::max(message.received, station.last_taken);
  advance(station, received);
  station.last_taken = received;
  station.reached = arrived.position;
  if (!station.first_unsaved) station.first_unsaved = arrived.position;
  const StepKey key{received, arrived.position};
  const ControllerSettings& fallback = station.context.design.settings;

  decode(message, reading);
  ++station.summary.messages;
  station.summary.samples += decoded_.samples.size();
  station.summary.samples_refused += decoded_.samples_refused;
  station.summary.faults += decoded_.faults.size();
  station.summary.last_received = received;
  for (Fault& fault : decoded_.faults)
    station.steps.push_back({key, Judged::FaultRow{message.received, message.topic, station.context.id, std::move(fault)}});

  if (station.watched) station.seen.insert(station.seen.end(), decoded_.samples.begin(), decoded_.samples.end());
  events_.clear();
  for (const Sample& sample : decoded_.samples) cycles::take(station.cycles, sample, received, fallback, events_);
  if (decoded_.settings) cycles::take(station.cycles, *decoded_.settings, received, fallback, events_);
  if (decoded_.presence) {
    cycles::take(station.cycles, *decoded_.presence, received, fallback, events_);
    events_.emplace_back(*decoded_.presence);
  }
  if (decoded_.note) events_.emplace_back(*decoded_.note);
  if (nothing_of_use(decoded_) && !heard_so_lately(station, received)) events_.emplace_back(UnusableMessage{received});
  hand_on_events(station, key, key.position);
}

void StationJudge::decode(const Message& message, Reading reading) {
  if (reading.mapping)
    mapped_.decode(*reading.mapping, message.payload, message.received, decoded_);
  else
    native_.decode(reading.kind, message.payload, message.received, decoded_);
}

void StationJudge::hand_on_events(Station& station, StepKey key, Position fed_position) {
  for (StationEvent& event : events_) {
    if (keep_fed_) station.fed.push_back({key.when, fed_position, body_of(event)});
    rules::judge(station.rules, event, key.when, station.context, judgements_, figures_);
    if (auto* half_cycle = std::get_if<HalfCycle>(&event))
      station.steps.push_back({key, JudgedTurn{std::move(*half_cycle), figures_ ? rules::usual_of(*figures_) : TurnUsual{}}});
    hand_on_judgements(station, key);
  }
  events_.clear();
}

void StationJudge::hand_on_judgements(Station& station, StepKey key) {
  for (rules::Judgement& judgement : judgements_) station.steps.push_back({key, std::move(judgement)});
  judgements_.clear();
}

}  // namespace driftline::fold
