// Configuration: a folder that a person edits, read whole or not at all.
//
//   gateway.json            the gateway itself (config/schema/gateway.schema.json); optional
//   plant.json, plant/*.json  stations as built (plant.schema.json); optional
//   duty.json               who hears of what, when, by which channel (duty.schema.json); optional
//   users.json              who may sign in at the page (users.schema.json); optional
//   rules.json              thresholds for all stations (thresholds.schema.json); optional
//   kinds/KIND.json         thresholds for the stations of a kind
//   sites/SITE.json         thresholds for the stations of a site
//
// A folder without plant.json and plant/ whose only other top-level .json file holds a "stations" list is
// read as if that were plant.json; the path of such a file may stand for the folder.
//
// Thresholds are layered by JSON Merge Patch (RFC 7396): built-in, rules.json, kinds/, sites/, the station's
// own "thresholds". "mappings" of gateway.json are struct Mapping (gateway/telemetry/mapping.h), member by
// member. Comments (// and /* */) are allowed; a key that stands twice is refused. Paths within gateway.json
// are taken from the folder of the configuration.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/plant.h"
#include "gateway/app/run.h"
#include "gateway/broker/settings.h"
#include "gateway/messages/duty.h"
#include "gateway/metrics/settings.h"

namespace driftline {

struct ConfigProblem {
  std::string file;  // within the folder: "plant/north.json"
  std::string at;    // JSON Pointer (RFC 6901); empty: the whole file
  std::string why;
  std::string remedy;
  bool operator==(const ConfigProblem&) const = default;
};
[[nodiscard]] std::string text_of(const ConfigProblem& problem);  // one line

// One threshold of one station, and which layer it comes from.
struct EffectiveThreshold {
  std::string name;   // "conditions/slow-vent/watched"
  std::string value;  // as JSON; "null" where nothing is set
  std::string from;   // "built-in", "rules.json", "plant.json /stations/3/thresholds"
  bool operator==(const EffectiveThreshold&) const = default;
};

struct Config {
  PlantSettings plant;  // with topic root, defaults and stations
  broker::BrokerSettings broker;
  StoreSettings store;
  std::optional<metrics::MetricsSettings> metrics;
  std::optional<web::WebSettings> web;
  HeartbeatSettings heartbeat;
  std::optional<messages::DutyList> duty;  // empty: no messages to people
};

struct ConfigOutcome {
  std::optional<Config> config;         // empty where `problems` is not
  std::vector<ConfigProblem> problems;  // all of them
  std::vector<ConfigProblem> cautions;  // can be used, but probably is not what was meant
  std::map<StationId, std::string> kinds;  // of stations that have one
  struct Place {
    std::string file, at;  // "plant.json", "/stations/3"
  };
  std::map<StationId, Place> places;       // where a station's entry stands
  std::map<StationId, std::vector<EffectiveThreshold>> explained;  // the station that was asked for
  // The same of any station, from the layers as they were read; empty where `config` is.
  std::function<std::vector<EffectiveThreshold>(const StationId&)> explain;
};

// Reads files and, for credentials, looks whether they can be read. Never throws for what is in them.
[[nodiscard]] ConfigOutcome load_config(const std::string& folder,
                                        const std::optional<StationId>& explain = std::nullopt);

[[nodiscard]] GatewaySettings gateway_settings(const Config& config);

}  // namespace driftline
