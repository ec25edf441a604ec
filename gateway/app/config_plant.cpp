#include <nlohmann/json.hpp>

#include "gateway/app/config_parts.h"
#include "gateway/app/config_schema.h"

namespace driftline {
namespace {

template <typename Value>
void take(const Json& from, std::string_view name, std::optional<Value>& to) {
  const auto found = from.find(name);
  if (found != from.end() && !found->is_null()) to = found->get<Value>();
}

template <typename Value>
void take_each_line(const Json& design, std::string_view name, std::vector<LineDesign>& lines,
                    std::optional<Value> LineDesign::*member) {
  const auto found = design.find(name);
  if (found == design.end() || !found->is_array()) return;
  if (lines.size() < found->size()) lines.resize(found->size());
  for (std::size_t i = 0; i < found->size(); ++i)
    if (!(*found)[i].is_null()) lines[i].*member = (*found)[i].get<Value>();
}

void take_design(const Json& design, StationDesign& to) {
  take(design, "grease_density_kg_l", to.grease_density_kg_l);
  take_each_line(design, "length_m", to.lines, &LineDesign::length_m);
  take_each_line(design, "devices", to.lines, &LineDesign::devices);
  take_each_line(design, "charges_cm3", to.lines, &LineDesign::charges_cm3);
  if (to.settings.lines && to.lines.size() < static_cast<std::size_t>(*to.settings.lines))
    to.lines.resize(*to.settings.lines);
  std::optional<double> bore_of_all;
  if (const auto bore = design.find("bore_mm"); bore != design.end() && bore->is_number())
    bore_of_all = bore->get<double>();
  if (bore_of_all)
    for (LineDesign& line : to.lines) line.bore_mm = bore_of_all;
  take_each_line(design, "bore_mm", to.lines, &LineDesign::bore_mm);
}

StationDesign design_of(const Json& station) {
  StationDesign design;
  take(station, "cycle_s", design.settings.cycle_s);
  take(station, "pump_limit_s", design.settings.pump_limit_s);
  take(station, "target_bar", design.settings.target_bar);
  take(station, "residual_bar", design.settings.residual_bar);
  take(station, "lines", design.settings.lines);
  take(station, "displacement_cm3_min", design.displacement_cm3_min);
  take(station, "reservoir_kg", design.reservoir_kg);
  take(station, "low_pct", design.low_pct);
  take(station, "empty_pct", design.empty_pct);
  take(station, "level_sensor", design.level_sensor);
  take(station, "low_level_switch", design.low_level_switch);
  if (const auto found = station.find("design"); found != station.end() && found->is_object())
    take_design(*found, design);
  return design;
}

class StationCheck {
 public:
  StationCheck(const Json& station, const ConfiguredStation& as, std::vector<ConfigProblem>& problems,
               std::vector<ConfigProblem>& cautions)
      : station_(station), as_(as), problems_(problems), cautions_(cautions) {}

  void all() {
    lines_fit();
    marks();
    pressures();
    turn();
    names(station_, "", "/stations/0");
    if (station_.contains("design") && station_["design"].is_object())
      names(station_["design"], "/design", "/stations/0/design");
  }

 private:
  void wrong(const std::string& at, const std::string& why, const std::string& remedy) {
    problems_.push_back({as_.file, as_.at + at, why, remedy});
  }
  static std::string text(double value) { return Json(value).dump(); }

  void lines_fit() {
    const auto lines = as_.design.settings.lines;
    if (!lines || !station_.contains("design") || !station_["design"].is_object()) return;
    for (const char* name : {"bore_mm", "length_m", "devices", "charges_cm3"}) {
      const auto list = station_["design"].find(name);
      if (list == station_["design"].end() || !list->is_array() ||
          list->size() == static_cast<std::size_t>(*lines))
        continue;
      wrong(std::string("/design/") + name,
            "it has " + std::to_string(list->size()) + " values, the station " + std::to_string(*lines) +
                " lines",
            "one value for each line, null where it is not known");
    }
  }
  void marks() {
    const StationDesign& d = as_.design;
    if (d.low_pct && d.empty_pct && *d.empty_pct >= *d.low_pct)
      wrong("/low_pct", text(*d.low_pct) + " is not over empty_pct, " + text(*d.empty_pct),
            "a low mark above the empty mark, so that there is time to refill");
  }
  void pressures() {
    const ControllerSettings& s = as_.design.settings;
    if (s.residual_bar && s.target_bar && *s.residual_bar >= *s.target_bar)
      wrong("/residual_bar", text(*s.residual_bar) + " is not under target_bar, " + text(*s.target_bar),
            "a residual pressure well under the target");
  }
  void turn() {
    const ControllerSettings& s = as_.design.settings;
    if (!s.cycle_s || !s.pump_limit_s || !s.lines || *s.pump_limit_s <= *s.cycle_s / *s.lines) return;
    cautions_.push_back({as_.file, as_.at + "/pump_limit_s",
                         text(*s.pump_limit_s) + " s is longer than the turn's share of the cycle, " +
                             text(*s.cycle_s / *s.lines) + " s",
                         "a pump limit within the turn, as set at the controller"});
  }
  // An engineer's file may hold more than we read; what looks like one of our names is a slip.
  void names(const Json& object, const std::string& at, const std::string& place) {
    const std::vector<std::string> known = known_names(ConfigSchema::plant, place);
    for (const auto& [name, value] : object.items()) {
      if (std::ranges::find(known, name) != known.end()) continue;
      const std::string_view near = nearest_name(name, known);
      if (!near.empty())
        wrong(at + pointer_step(name), "the name is not known here", "\"" + std::string(near) + "\"");
      else
        cautions_.push_back({as_.file, as_.at + at + pointer_step(name),
                             "the name is not known here and is passed over",
                             "its removal, or \"note\" for a text"});
    }
  }

  const Json& station_;
  const ConfiguredStation& as_;
  std::vector<ConfigProblem>& problems_;
  std::vector<ConfigProblem>& cautions_;
};

void take_station(const Json& station, const std::string& file, const std::string& at, ConfiguredPlant& plant,
                  std::vector<ConfigProblem>& problems, std::vector<ConfigProblem>& cautions) {
  const StationId id{station["site"].get<std::string>(), station["station"].get<std::string>()};
  ConfiguredStation configured{design_of(station), station.value("kind", ""),
                               station.value("thresholds", Json(nullptr)), file, at};
  if (configured.thresholds.is_object())
    check_schema(ConfigSchema::thresholds, configured.thresholds, file, at + "/thresholds", problems);
  StationCheck(station, configured, problems, cautions).all();
  const auto [there, added] = plant.stations.try_emplace(id, configured);
  if (!added)
    problems.push_back({file, at,
                        "the station " + id.site + "/" + id.station + " stands also at " +
                            there->second.file + " " + there->second.at,
                        "each station once"});
}

}  // namespace

void take_plant(const Json& document, const std::string& file, ConfiguredPlant& plant,
                std::vector<ConfigProblem>& problems, std::vector<ConfigProblem>& cautions) {
  const std::size_t before = problems.size();
  check_schema(ConfigSchema::plant, document, file, "", problems);
  if (problems.size() > before) return;
  if (document.contains("topic_root")) {
    const std::string root = document["topic_root"].get<std::string>();
    if (plant.topic_root.empty()) {
      plant.topic_root = root;
      plant.topic_root_file = file;
    } else if (plant.topic_root != root) {
      problems.push_back(
          {file, "/topic_root",
           "\"" + root + "\" differs from \"" + plant.topic_root + "\" in " + plant.topic_root_file,
           "one topic root for all stations"});
    }
  }
  std::size_t i = 0;
  for (const Json& station : document["stations"])
    take_station(station, file, "/stations/" + std::to_string(i++), plant, problems, cautions);
}

}  // namespace driftline
