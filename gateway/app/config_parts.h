// The two halves of load_config: the gateway's own settings, and the stations. For gateway/app/config*.cpp
// only.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "gateway/app/config.h"
#include "gateway/app/config_json.h"
#include "rules/records/identity.h"
#include "rules/records/settings.h"

namespace driftline {

// gateway.json, which has passed its schema. Looks at the files that it names.
void take_gateway(const Json& document, const std::filesystem::path& folder, Config& config,
                  std::vector<ConfigProblem>& problems);

// users.json, which has passed its schema. Without a page they are read all the same, so that a mistake is told.
void take_users(const Json& document, Config& config, std::vector<ConfigProblem>& problems);

// duty.json, which has passed its schema.
void take_duty(const Json& document, const std::filesystem::path& folder, Config& config, std::vector<ConfigProblem>& problems,
               std::vector<ConfigProblem>& cautions);

// "mappings" of gateway.json: for the plant, and as topic filters for the broker.
void take_mappings(const Json& list, Config& config, std::vector<ConfigProblem>& problems);

struct ConfiguredStation {
  StationDesign design;
  std::string kind;      // empty: none
  Json thresholds;       // the station's own; null where it has none
  std::string file, at;  // where it stands: "plant.json", "/stations/3"
};

struct ConfiguredPlant {
  std::map<StationId, ConfiguredStation> stations;
  std::string topic_root;  // empty where no file gives one
  std::string topic_root_file;
};

// One plant file as read. Adds to what earlier files have given.
void take_plant(const Json& document, const std::string& file, ConfiguredPlant& plant,
                std::vector<ConfigProblem>& problems, std::vector<ConfigProblem>& cautions);

}  // namespace driftline
