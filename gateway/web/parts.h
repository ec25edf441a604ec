// What the page needs of the running gateway, as functions: the room knows neither the plant nor the broker.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/history/history.h"
#include "gateway/messages/confirm.h"
#include "gateway/telemetry/sample.h"
#include "rules/judgement/station_rules.h"

namespace driftline::web {

// As the judging thread knows it.
struct StationHeard {
  StationId station;
  bool configured = false;
  std::optional<Time> last_received;
  std::uint64_t messages = 0;
  std::uint64_t samples = 0;
  std::uint64_t samples_behind = 0;
  std::uint64_t faults = 0;
  bool set_aside = false;
  std::optional<ReservoirDay> reservoir{};  // as it is now; empty: see the rows of the days
};

struct PlantNow {
  Time as_of{};
  std::vector<StationHeard> stations;  // sorted
};

// New samples of a watched station, and the turn that reconstruction sees going on; it waits 30 s for late samples, so it lags.
struct Seen {
  StationId station;
  std::vector<Sample> samples;
  std::optional<Time> run_since;
  std::optional<int> run_line;
};

struct GatewayNow {
  std::string broker;  // "connected", "connecting", ...
  std::uint64_t behind = 0;
  std::uint64_t messages = 0, samples = 0, half_cycles = 0, faults = 0;
  std::optional<Time> heard;  // the last message of any station
};

struct ThresholdNow {
  std::string name;
  std::string value;  // as JSON
  std::string from;
};

// Who would be told of a warning at a time, and why: as the duty list has it.
struct WhoTold {
  std::string local;                // "Wednesday, 22:30 in Europe/Vienna"
  std::vector<std::string> why;     // a sentence a line that was looked at
  std::optional<Time> held_until;   // by quiet hours
  bool all_at_once = false;
  int after_min = 0;                // from one to the next without an answer
  struct Person {
    std::string name;
    std::vector<std::string> channels;  // without addresses: whoever may read the plant need not read people's numbers
  };
  std::vector<Person> people;
};
// A beat that the gateway gives to somebody outside, who calls when it stops.
struct HeartbeatNow {
  std::string by;            // "webhook", "mqtt"
  double every_s = 0;
  std::optional<Time> last;  // that was answered
  std::string problem;       // of the last one; empty: none
};
struct DutyNow {
  std::vector<std::string> channels;
};

using Configured = std::map<StationId, rules::StationContext>;

// The Trial bench and proposals of thresholds; JSON in, JSON out, an error is words for a person. On a reader's thread, for up to
// some hundred ms. Empty: there is none.
struct BenchParts {
  using Told = tl::expected<std::string, std::string>;
  std::function<Told(const StationId&, std::string_view question)> try_out{};
  std::function<Told()> proposals{};
  std::function<Told(const std::string& user, std::string_view body)> propose{};
  std::function<Told(const std::string& user, const std::string& name, std::string_view body)> act{};
};

struct WebParts {
  history::History* history = nullptr;                  // acts; outlives the page
  std::function<Time()> wall;
  std::function<std::chrono::nanoseconds()> steady;
  std::function<std::shared_ptr<const PlantNow>()> plant;       // cheap; any thread, as all of these
  std::function<std::shared_ptr<const Configured>()> configured;
  std::function<GatewayNow()> gateway;
  std::function<std::vector<ThresholdNow>(const StationId&)> thresholds;
  // A message into the journal as if it had come from the broker. False: it could not be taken now.
  std::function<bool(std::string_view topic, std::string_view payload)> post;
  std::function<void(std::vector<StationId>)> watch;            // of these stations `Web::seen` is to be called
  // Of one station, in order: what came in the minutes before somebody watched it. Some 100 ms; empty function: it is not known.
  std::function<std::vector<Sample>(const StationId&)> lately{};
  // Empty function, or empty answer: there is no duty list.
  std::function<std::optional<DutyNow>()> duty{};
  std::function<std::optional<HeartbeatNow>()> heartbeat{};
  std::function<std::optional<WhoTold>(const history::WarningRef&, Urgency, Time)> who{};
  BenchParts bench{};
  std::optional<messages::LinkKey> link_key{};                  // of the links in messages; empty: none are taken
  std::function<void()> acted{};                                // somebody did something to a warning; must not block; may be empty
  std::string telemetry_root = "grease";
  std::string version;
};

}  // namespace driftline::web
