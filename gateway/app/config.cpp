#include "gateway/app/config.h"

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>

#include "gateway/app/config_limits.h"
#include "gateway/app/config_parts.h"
#include "gateway/app/config_schema.h"
#include "gateway/app/messages_consumer.h"
#include "gateway/app/metrics_consumer.h"
#include "gateway/app/thresholds_json.h"
#include "gateway/broker/topics.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

// The .json files directly in a folder, by name; empty where it is none.
std::vector<std::string> json_files(const fs::path& folder) {
  std::vector<std::string> names;
  std::error_code failed;
  for (fs::directory_iterator at(folder, failed), end; !failed && at != end; at.increment(failed))
    if (at->path().extension() == ".json" && names.size() < config_files_max)
      names.push_back(at->path().filename().string());
  std::ranges::sort(names);
  return names;
}

bool is_plant_file(const Json& document) {
  if (!document.is_object() || !document.contains("stations") || !document["stations"].is_array())
    return false;
  return std::ranges::all_of(document.items(), [](const auto& item) {
    return item.key() == "stations" || item.key() == "topic_root";
  });
}

// All layers of thresholds, as read.
struct Layers {
  ConfiguredPlant plant;
  Json rules = Json::object();
  std::map<std::string, Json> kinds, sites;

  [[nodiscard]] std::vector<ThresholdLayer> of(const StationId& id, const ConfiguredStation* station) const {
    std::vector<ThresholdLayer> all{{"rules.json", &rules}};
    if (station == nullptr) return all;
    if (const auto kind = kinds.find(station->kind); kind != kinds.end()) all.push_back({"kinds/" + station->kind + ".json", &kind->second});
    if (const auto site = sites.find(id.site); site != sites.end()) all.push_back({"sites/" + id.site + ".json", &site->second});
    if (station->thresholds.is_object()) all.push_back({station->file + " " + station->at + "/thresholds", &station->thresholds});
    return all;
  }
  [[nodiscard]] std::vector<EffectiveThreshold> explain(const StationId& id) const {
    const auto station = plant.stations.find(id);
    return explained(of(id, station == plant.stations.end() ? nullptr : &station->second));
  }
};

class Loader {
 public:
  Loader(fs::path folder, const std::optional<StationId>& explain)
      : folder_(std::move(folder)), explain_(explain) {}

  ConfigOutcome load() {
    std::error_code failed;
    if (fs::is_regular_file(folder_, failed)) {
      const std::string name = folder_.filename().string();
      if (const auto document = read_json_file(folder_.string(), name, out_.problems))
        take_plant(*document, name, plant_, out_.problems, out_.cautions);
      folder_ = folder_.parent_path();
    } else if (!fs::is_directory(folder_, failed)) {
      out_.problems.push_back({folder_.string(), "", "there is no such folder",
                               "the folder of the configuration; an empty one will do"});
    } else {
      read_all();
    }
    build();
    finish();
    return std::move(out_);
  }

 private:
  void read_all() {
    read_thresholds("rules.json", rules_);
    read_layers("kinds", kinds_);
    read_layers("sites", sites_);
    if (fs::exists(folder_ / "gateway.json")) read_gateway();
    if (fs::exists(folder_ / "users.json")) read_users();
    if (fs::exists(folder_ / "duty.json")) read_duty();
    if (out_.problems.empty()) guard_page();
    read_plants();
  }

  void read_gateway() {
    const auto document = read_json_file((folder_ / "gateway.json").string(), "gateway.json", out_.problems);
    if (!document) return;
    const std::size_t before = out_.problems.size();
    check_schema(ConfigSchema::gateway, *document, "gateway.json", "", out_.problems);
    if (out_.problems.size() > before) return;
    root_given_ = document->contains("topic_root");
    take_gateway(*document, folder_, config_, out_.problems);
  }

  void read_users() {
    const auto document = read_json_file((folder_ / "users.json").string(), "users.json", out_.problems);
    if (!document) return;
    const std::size_t before = out_.problems.size();
    check_schema(ConfigSchema::users, *document, "users.json", "", out_.problems);
    if (out_.problems.size() == before) take_users(*document, config_, out_.problems);
  }

  // What `run` would refuse is told here, before it comes to that.
  void guard_page() {
    if (!config_.web || !config_.web->users.empty() || web::is_loopback(config_.web->address)) return;
    out_.problems.push_back({"gateway.json", "/web/address",
                             "without users the page would be open to everybody who reaches " + config_.web->address,
                             "users in users.json (driftline user), or 127.0.0.1"});
  }

  void read_duty() {
    const auto document = read_json_file((folder_ / "duty.json").string(), "duty.json", out_.problems);
    if (!document) return;
    const std::size_t before = out_.problems.size();
    check_schema(ConfigSchema::duty, *document, "duty.json", "", out_.problems);
    if (out_.problems.size() == before) take_duty(*document, folder_, config_, out_.problems, out_.cautions);
  }

  void read_thresholds(const std::string& name, Json& to) {
    if (!fs::exists(folder_ / name)) return;
    auto document = read_json_file((folder_ / name).string(), name, out_.problems);
    if (!document) return;
    const std::size_t before = out_.problems.size();
    check_schema(ConfigSchema::thresholds, *document, name, "", out_.problems);
    if (out_.problems.size() == before) to = std::move(*document);
  }

  void read_layers(const std::string& folder, std::map<std::string, Json>& to) {
    for (const std::string& name : json_files(folder_ / folder)) {
      Json& layer = to[name.substr(0, name.size() - 5)] = Json::object();
      read_thresholds(folder + "/" + name, layer);
    }
  }

  void read_plants() {
    std::vector<std::string> others;
    bool named = false;
    for (const std::string& name : json_files(folder_)) {
      if (name == "plant.json")
        named = true;
      else if (name != "gateway.json" && name != "rules.json" && name != "users.json" && name != "duty.json")
        others.push_back(name);
    }
    if (named) read_plant("plant.json");
    for (const std::string& name : json_files(folder_ / "plant")) {
      named = true;
      read_plant("plant/" + name);
    }
    for (const std::string& name : others) read_other(name, !named);
  }

  void read_plant(const std::string& name) {
    if (const auto document = read_json_file((folder_ / name).string(), name, out_.problems))
      take_plant(*document, name, plant_, out_.problems, out_.cautions);
  }

  void read_other(const std::string& name, bool may_be_plant) {
    std::error_code failed;
    if (may_be_plant && fs::file_size(folder_ / name, failed) <= config_file_bytes_max) {
      const auto document = read_json_file((folder_ / name).string(), name, out_.problems);
      if (!document) return;
      if (is_plant_file(*document)) return take_plant(*document, name, plant_, out_.problems, out_.cautions);
    }
    out_.cautions.push_back({name, "", "the file is not read",
                             "gateway.json, plant.json, rules.json or a file in plant/, kinds/ or sites/"});
  }

  void build() {
    take_roots();
    config_.plant.defaults = thresholds_of(merged(layers_->of({}, nullptr)));
    contradictions(config_.plant.defaults, "rules.json", "");
    std::set<std::string> sites;
    for (const auto& [id, station] : plant_.stations) {
      sites.insert(id.site);
      build_station(id, station);
    }
    for (const auto& [site, layer] : sites_)
      if (!sites.contains(site) && out_.problems.empty())
        out_.cautions.push_back({"sites/" + site + ".json", "", "no station stands at the site " + site,
                                 "a file named as a site"});
    if (explain_ && !plant_.stations.contains(*explain_)) out_.explained[*explain_] = layers_->explain(*explain_);
  }

  void take_roots() {
    if (!plant_.topic_root.empty()) {
      if (root_given_ && config_.plant.topic_root != plant_.topic_root)
        out_.problems.push_back({plant_.topic_root_file, "/topic_root",
                                 "\"" + plant_.topic_root + "\" differs from \"" + config_.plant.topic_root +
                                     "\" in gateway.json",
                                 "one topic root for all stations"});
      config_.plant.topic_root = plant_.topic_root;
    }
    config_.broker.telemetry_root = config_.plant.topic_root;
    const std::string root_file =
        root_given_ || plant_.topic_root.empty() ? "gateway.json" : plant_.topic_root_file;
    if (const auto why = broker::problem_of_root(config_.plant.topic_root))
      out_.problems.push_back({root_file, "/topic_root", *why, "text such as \"grease\""});
    if (const auto why = broker::problem_of_root(config_.broker.output_root))
      out_.problems.push_back({"gateway.json", "/output_root", *why, "text such as \"driftline\""});
    else if (broker::lies_under(config_.broker.output_root, config_.plant.topic_root))
      out_.problems.push_back({"gateway.json", "/output_root",
                               "it lies under topic_root: the gateway would read what it writes",
                               "a root of its own, such as \"driftline\""});
    check_mapped_topics();
  }

  void check_mapped_topics() {
    const std::vector<Mapping>& mappings = config_.plant.mappings;
    for (std::size_t i = 0; i < mappings.size(); ++i) {
      const std::string at = "/mappings/" + std::to_string(i) + "/topic";
      if (broker::lies_under(mappings[i].topic, config_.plant.topic_root))
        out_.problems.push_back({"gateway.json", at,
                                 "it lies under topic_root: what comes there is read in our own shape",
                                 "a topic outside topic_root"});
      if (broker::may_be_ours(mappings[i].topic, config_.broker.output_root))
        out_.problems.push_back({"gateway.json", at,
                                 "it fits topics under output_root: the gateway would read what it writes",
                                 "the first level by its name; a mapping for each, where there are several"});
    }
  }

  void build_station(const StationId& id, const ConfiguredStation& station) {
    if (!station.kind.empty() && !kinds_.contains(station.kind))
      out_.problems.push_back({station.file, station.at + "/kind",
                               "the kind \"" + station.kind + "\" is not known", kinds_text(station.kind)});
    if (!station.kind.empty()) out_.kinds.emplace(id, station.kind);
    out_.places.emplace(id, ConfigOutcome::Place{station.file, station.at});
    if (!out_.problems.empty()) return;  // layers may be missing: no sense in what they make together
    const auto all = layers_->of(id, &station);
    rules::StationContext context{id, station.design, thresholds_of(merged(all))};
    contradictions(context.thresholds, station.file, station.at);
    if (explain_ == id) out_.explained[id] = explained(all);
    config_.plant.stations.emplace(id, std::move(context));
  }

  std::string kinds_text(const std::string& kind) const {
    std::string text;
    for (const auto& [name, layer] : kinds_) text += (text.empty() ? "one of " : ", ") + name;
    return text.empty() ? "a file kinds/" + kind + ".json" : text + ", or a file kinds/" + kind + ".json";
  }

  void contradictions(const Thresholds& thresholds, const std::string& file, const std::string& at) {
    if (at.empty()) {
      if (out_.problems.empty())
        for (ConfigProblem& problem : contradictions_in(thresholds))
          out_.problems.push_back({file, problem.at, problem.why, problem.remedy});
      return;
    }
    for (ConfigProblem& problem : contradictions_in(thresholds))
      out_.problems.push_back(
          {file, at + "/thresholds" + problem.at, problem.why + " (all layers together)", problem.remedy});
  }

  void finish() {
    if (out_.problems.size() > config_problems_max) {
      const std::size_t more = out_.problems.size() - config_problems_max;
      out_.problems.resize(config_problems_max);
      out_.problems.push_back({folder_.string(), "", std::to_string(more) + " more problems are not shown",
                               "the same check again after these"});
    }
    if (!out_.problems.empty()) return;
    out_.config = std::move(config_);
    out_.explain = [layers = layers_](const StationId& id) { return layers->explain(id); };
  }

  fs::path folder_;
  const std::optional<StationId>& explain_;
  ConfigOutcome out_;
  Config config_;
  const std::shared_ptr<Layers> layers_ = std::make_shared<Layers>();
  ConfiguredPlant& plant_ = layers_->plant;
  Json& rules_ = layers_->rules;
  std::map<std::string, Json>& kinds_ = layers_->kinds;
  std::map<std::string, Json>& sites_ = layers_->sites;
  bool root_given_ = false;
};

}  // namespace

std::string text_of(const ConfigProblem& problem) {
  return problem.file + (problem.at.empty() ? "" : " " + problem.at) + ": " + problem.why +
         (problem.remedy.empty() ? "" : "; right would be: " + problem.remedy);
}

ConfigOutcome load_config(const std::string& folder, const std::optional<StationId>& explain) {
  return Loader(folder, explain).load();
}

GatewaySettings gateway_settings(const Config& config) {
  GatewaySettings settings{
      .broker = config.broker, .plant = config.plant, .store = config.store, .consumers = {}};
  settings.web = config.web;
  settings.heartbeat = config.heartbeat;
  if (config.metrics) settings.consumers.push_back(metrics_consumer(*config.metrics));
  if (config.duty) settings.duty = std::make_shared<const messages::DutyList>(*config.duty);
  if (config.duty) {
    messages::Facts facts;
    for (const auto& [station, context] : config.plant.stations) facts[station] = {context.design.reservoir_kg};
    settings.consumers.push_back(messages_consumer(*config.duty, messages::page_links(config.duty->page_url), {}, std::move(facts)));
  }
  return settings;
}

}  // namespace driftline
