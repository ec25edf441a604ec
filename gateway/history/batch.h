// What one batch of input has caused, and what is stored of it in one transaction.
//
// Positions are the journal's (gateway/journal/record.h): 64-bit, they rise by one with each message.
//
// The rule that makes a restart exact: a station's state carries the position that it has reached (the first message that it
// has not yet taken). A station that put out anything in a batch, rows or findings, has its state in the same batch; so has
// a site that put out anything. States of stations that put nothing out may lag and come along in turn. After a crash the
// judging begins at `resume_from` and each station, and each site, passes over what is below its own position; messages
// that belong to no station (bad topics) are passed over below `taken_to`. Nothing is lost, nothing doubled.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gateway/telemetry/fault.h"
#include "rules/records/fed_event.h"
#include "rules/records/half_cycle.h"
#include "rules/records/identity.h"
#include "rules/records/turn_usual.h"
#include "rules/records/warning.h"

namespace driftline::history {

struct HalfCycleRow {
  StationId station;
  HalfCycle half_cycle;
  TurnUsual usual{};  // what the turn was held against
  bool operator==(const HalfCycleRow&) const = default;
};

// What the rules were fed. Of each station they come in their order, in the batch with the state that has taken them; a
// TurnTold stands for the station's next half-cycle of the same batch.
struct FedRow {
  StationId station;
  FedEvent event;
  bool operator==(const FedRow&) const = default;
};

// What a person noted, as it stands among the fed events; `received` is the gateway's clock.
struct ServiceNoteRow {
  StationId station;
  Time received{};
  ServiceNote note;
  bool operator==(const ServiceNoteRow&) const = default;
};

// Somebody who is signed in at the page. Neither cookie nor password can be had from it.
struct SessionRow {
  std::string hash;      // of the cookie's value
  std::string user;
  std::string password;  // a hash of the password's hash: with another password the session is over
  std::string token;     // what unsafe requests carry besides the cookie; of no use without it
  Time began{};
  Time used{};
  bool operator==(const SessionRow&) const = default;
};

// Something done with thresholds: an act of a proposal, or a reload that changed some (then `proposal` is "reload").
struct RolloutRow {
  std::string proposal;
  std::int64_t number = 0;  // of the act within the proposal; with it told only once
  Time time{};
  std::string act;
  std::string who;
  std::string why;         // of a reload: what changed for which stations
  std::string target;      // for whom
  std::string thresholds;  // JSON
  bool operator==(const RolloutRow&) const = default;
};

// A row of faults.ndjson.
struct FaultRow {
  Time received{};
  std::string topic;
  std::optional<StationId> station;
  Fault fault;
  bool operator==(const FaultRow&) const = default;
};

// Something to be sent, by whoever serves the channel.
struct OutgoingRow {
  Time time{};
  std::string channel;  // "mqtt", ...
  std::string address;  // as the channel understands it
  std::string body;
  bool operator==(const OutgoingRow&) const = default;
};

struct StationStateRow {
  StationId station;
  std::uint64_t position = 0;  // first message that it has not taken
  std::string bytes;
  bool operator==(const StationStateRow&) const = default;
};

struct SiteStateRow {
  std::string site;
  std::uint64_t position = 0;
  std::string bytes;
  bool operator==(const SiteStateRow&) const = default;
};

struct Batch {
  std::vector<HalfCycleRow> half_cycles;
  std::vector<FedRow> fed;  // service notes among them get rows of their own
  std::vector<WarningChange> warnings;
  std::vector<ReservoirDay> reservoir_days;
  std::vector<ForecastDay> forecast_days;
  std::vector<FaultRow> faults;
  std::vector<OutgoingRow> outgoing;
  std::vector<StationStateRow> station_states;
  std::vector<SiteStateRow> site_states;
  std::uint64_t resume_from = 0;  // lowest position that a stored state has not yet taken, once this batch is stored
  std::uint64_t taken_to = 0;     // first position that nobody has taken; never goes back
};

}  // namespace driftline::history
