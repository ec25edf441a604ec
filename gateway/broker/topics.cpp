#include "gateway/broker/topics.h"

#include <algorithm>
#include <array>
#include <vector>

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

std::vector<std::string_view> levels_of(std::string_view topic) {
  std::vector<std::string_view> levels;
  for (std::size_t begin = 0; begin <= topic.size();) {
    const std::size_t end = std::min(topic.find('/', begin), topic.size());
    levels.push_back(topic.substr(begin, end - begin));
    begin = end + 1;
  }
  return levels;
}

bool fits_any(std::string_view level) {
  return level == "+" || level.starts_with('{');
}

bool have_a_topic_in_common(std::string_view one, std::string_view other) {
  return std::ranges::equal(levels_of(one), levels_of(other), [](std::string_view a, std::string_view b) {
    return a == b || fits_any(a) || fits_any(b);
  });
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
std::string heartbeat_topic(std::string_view out, std::string_view client_id) {
  return join({out, "gateway", client_id, "heartbeat"});
}
std::string acts_topic(std::string_view out, std::string_view client_id) {
  return join({out, "gateway", client_id, "acts"});
}
std::string answers_topic(std::string_view out, std::string_view client_id) {
  return join({out, "gateway", client_id, "answers"});
}
std::string warning_topic(std::string_view out, const WarningKey& key) {
  return of_warning(out, "warnings", key);
}
std::string changes_topic(std::string_view out, const StationId& id) {
  return join({out, "changes", id.site, id.station});
}
std::string life_topic(std::string_view out, const WarningKey& key) {
  return of_warning(out, "lives", key);
}
std::string life_changes_topic(std::string_view out, const StationId& id) {
  return join({out, "life-changes", id.site, id.station});
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

bool may_be_ours(std::string_view pattern, std::string_view out) {
  constexpr std::array<std::string_view, 8> ours{"gateway/+/+",        "warnings/+/+/+/+", "changes/+/+",
                                                 "lives/+/+/+/+",      "life-changes/+/+", "half-cycles/+/+",
                                                 "reservoirs/+/+",     "forecasts/+/+/+/+"};
  return std::ranges::any_of(ours, [&](std::string_view topic) {
    return have_a_topic_in_common(pattern, join({out, topic}));
  });
}

}  // namespace driftline::broker
