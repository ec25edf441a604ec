#include <algorithm>
#include <array>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/topic_text.h"

namespace driftline {
namespace {

constexpr std::array<std::string_view, 4> kind_names{"telemetry", "settings", "presence", "service"};

bool id_char(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' || c == '_' || c == '-';
}

TopicOutcome refused(FaultCode code, std::string why, std::string remedy) {
  TopicOutcome outcome;
  outcome.fault = Fault{code, {}, std::move(why), std::move(remedy)};
  return outcome;
}

std::string shape_of(std::string_view root) {
  return cut_short(root) + "/<site>/<station>/telemetry, settings, presence or service";
}

// Site, station and kind; empty when there are not exactly three levels under the root.
std::optional<std::array<std::string_view, 3>> levels_under(std::string_view root, std::string_view topic) {
  if (topic.size() <= root.size() || topic.substr(0, root.size()) != root || topic[root.size()] != '/') return std::nullopt;
  topic.remove_prefix(root.size() + 1);
  const std::size_t first = topic.find('/');
  if (first == std::string_view::npos) return std::nullopt;
  const std::size_t second = topic.find('/', first + 1);
  if (second == std::string_view::npos || topic.find('/', second + 1) != std::string_view::npos) return std::nullopt;
  return std::array{topic.substr(0, first), topic.substr(first + 1, second - first - 1), topic.substr(second + 1)};
}

}  // namespace

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= telemetry_limits::id_bytes_max && std::all_of(text.begin(), text.end(), id_char);
}

TopicOutcome read_topic(std::string_view root, std::string_view topic) {
  const auto levels = levels_under(root, topic);
  if (!levels) return refused(FaultCode::bad_topic, in_quotes(topic) + " is not a station's topic", shape_of(root));
  const auto [site, station, kind] = *levels;
  for (const std::string_view id : {site, station})
    if (!is_id(id))
      return refused(FaultCode::bad_topic, in_quotes(id) + " cannot name a site or station",
                     "1 to 64 characters of A-Z a-z 0-9 . _ -");

  const auto* const known = std::find(kind_names.begin(), kind_names.end(), kind);
  if (known == kind_names.end()) {
    TopicOutcome outcome = refused(FaultCode::unknown_kind, in_quotes(kind) + " is no kind of message", shape_of(root));
    outcome.station = StationId{std::string(site), std::string(station)};
    return outcome;
  }
  TopicOutcome outcome;
  outcome.topic = Topic{StationId{std::string(site), std::string(station)},
                        static_cast<TopicKind>(known - kind_names.begin())};
  outcome.station = outcome.topic->station;
  return outcome;
}

}  // namespace driftline
