#include <nlohmann/json.hpp>

#include "gateway/app/config_parts.h"
#include "gateway/telemetry/mapped.h"

namespace driftline {
namespace {

template <typename Value>
void take(const Json& from, std::string_view name, Value& to) {
  if (const auto found = from.find(name); found != from.end()) to = found->get<Value>();
}

MappedField field_of(const Json& from) {
  MappedField field;
  take(from, "at", field.at);
  take(from, "unit", field.unit);
  take(from, "scale", field.scale);
  take(from, "offset", field.offset);
  return field;
}

void take(const Json& from, std::string_view name, std::optional<MappedField>& to) {
  if (const auto found = from.find(name); found != from.end()) to = field_of(*found);
}

void take(const Json& from, std::string_view name, std::optional<MappedSwitch>& to) {
  const auto found = from.find(name);
  if (found == from.end()) return;
  MappedSwitch& field = to.emplace();
  take(*found, "at", field.at);
  take(*found, "yes", field.yes);
  take(*found, "no", field.no);
}

MappedSample sample_of(const Json& from) {
  MappedSample sample;
  take(from, "time", sample.time);
  take(from, "seq", sample.seq);
  take(from, "pump", sample.pump);
  take(from, "line", sample.line);
  take(from, "pressures", sample.pressures);
  if (const auto lines = from.find("line_pressures"); lines != from.end())
    for (const Json& line : *lines) sample.line_pressures.push_back(field_of(line));
  take(from, "level", sample.level);
  take(from, "level_low", sample.level_low);
  take(from, "temp", sample.temp);
  return sample;
}

MappedSettings settings_of(const Json& from) {
  MappedSettings settings;
  take(from, "cycle", settings.cycle);
  take(from, "pump_limit", settings.pump_limit);
  take(from, "target", settings.target);
  take(from, "residual", settings.residual);
  take(from, "lines", settings.lines);
  return settings;
}

TopicKind kind_of(const std::string& name) {
  if (name == "settings") return TopicKind::settings;
  return name == "presence" ? TopicKind::presence : TopicKind::telemetry;
}

Mapping mapping_of(const Json& from) {
  Mapping mapping;
  take(from, "name", mapping.name);
  take(from, "topic", mapping.topic);
  take(from, "site", mapping.site);
  take(from, "station", mapping.station);
  mapping.kind = kind_of(from.value("kind", "telemetry"));
  take(from, "samples", mapping.samples);
  if (const auto found = from.find("sample"); found != from.end()) mapping.sample = sample_of(*found);
  if (const auto found = from.find("settings"); found != from.end()) mapping.settings = settings_of(*found);
  take(from, "online", mapping.online);
  return mapping;
}

}  // namespace

void take_mappings(const Json& list, Config& config, std::vector<ConfigProblem>& problems) {
  std::vector<Mapping> mappings;
  for (const Json& one : list) mappings.push_back(mapping_of(one));
  const auto decoder = MappedDecoder::make(mappings);
  if (!decoder) {
    for (const MappingMistake& mistake : decoder.error())
      problems.push_back({"gateway.json", "/mappings" + mistake.where, mistake.why, mistake.remedy});
    return;
  }
  config.broker.more_filters = decoder->topic_filters();
  config.plant.mappings = std::move(mappings);
}

}  // namespace driftline
