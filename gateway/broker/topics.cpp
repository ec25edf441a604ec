#include "gateway/broker/topics.h"

#include "rules/records/names.h"

namespace driftline::broker {
namespace {

std::string join(std::initializer_list<std::string_view> levels) {
  std::string topic;
  for (const std::string_view level : levels) {
    if (!topic.empty()) topic += '/';
    topic += level;
  }
  return topic;
}

std::string place_of(const WarningKey& key) {
  return key.line ? "line-" + std::to_string(*key.line) : "station";
}

std::string of_warning(std::string_view out, std::string_view kind, const WarningKey& key) {
  return join({out, kind, key.station.site, key.station.station, place_of(key), name_of(key.condition)});
}

}  // namespace

std::string presence_topic(std::string_view out, std::string_view client_id) {
  return join({out, "gateway", client_id, "presence"});
}
std::string warning_topic(std::string_view out, const WarningKey& key) {
  return of_warning(out, "warnings", key);
}
std::string changes_topic(std::string_view out, const StationId& id) {
  return join({out, "changes", id.site, id.station});
}
std::string half_cycles_topic(std::string_view out, const StationId& id) {
  return join({out, "half-cycles", id.site, id.station});
}
std::string reservoir_topic(std::string_view out, const StationId& id) {
  return join({out, "reservoirs", id.site, id.station});
}
std::string forecast_topic(std::string_view out, const WarningKey& key) {
  return of_warning(out, "forecasts", key);
}

std::string telemetry_filter(std::string_view telemetry_root) {
  return join({telemetry_root, "#"});
}

std::optional<std::string> problem_of_root(std::string_view root) {
  if (root.empty()) return "is empty";
  if (root.front() == '$') return "starts with $, which is the broker's own";
  if (root.front() == '/' || root.back() == '/' || root.find("//") != std::string_view::npos)
    return "has an empty level";
  for (const char c : root) {
    if (c == '+' || c == '#') return "holds a wildcard";
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) return "holds a control character";
  }
  return std::nullopt;
}

bool lies_under(std::string_view out, std::string_view in) {
  return out == in || (out.starts_with(in) && out[in.size()] == '/');
}

}  // namespace driftline::broker
