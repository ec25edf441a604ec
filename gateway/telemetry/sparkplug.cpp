#include "gateway/telemetry/sparkplug.h"

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/json_values.h"
#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/sparkplug_metrics.h"
#include "gateway/telemetry/sparkplug_wire.h"
#include "gateway/telemetry/topic_text.h"

namespace driftline {
namespace {

namespace limits = telemetry_limits;
using sparkplug::Metric;
using sparkplug::Payload;
using sparkplug::Rule;
using sparkplug::Rules;
using sparkplug::Values;

constexpr std::string_view space_name = "spBv1.0";
constexpr std::string_view death_number_name = "bdSeq";

enum class Kind : std::uint8_t { node_birth, node_data, node_death, device_birth, device_data, device_death };
constexpr std::array<std::string_view, 6> kind_names{"NBIRTH", "NDATA", "NDEATH", "DBIRTH", "DDATA", "DDEATH"};

bool of_device(Kind kind) { return kind >= Kind::device_birth; }

struct SparkplugTopic {
  std::string_view group, node, device;
  Kind kind = Kind::node_data;
};

// Empty: not a message that we listen to.
std::optional<SparkplugTopic> read_topic(std::string_view topic) {
  std::array<std::string_view, 5> levels;
  std::size_t count = 0;
  for (std::size_t begin = 0; begin <= topic.size(); ++count) {
    if (count == levels.size()) return std::nullopt;
    const std::size_t end = std::min(topic.find('/', begin), topic.size());
    levels[count] = topic.substr(begin, end - begin);
    begin = end + 1;
  }
  if (count < 4 || levels[0] != space_name) return std::nullopt;
  const auto* const name = std::find(kind_names.begin(), kind_names.end(), levels[2]);
  if (name == kind_names.end()) return std::nullopt;
  SparkplugTopic out{levels[1], levels[3], levels[4], static_cast<Kind>(name - kind_names.begin())};
  if (of_device(out.kind) != (count == 5)) return std::nullopt;
  return out;
}

// A device, or the edge node's own metrics.
struct Station {
  StationId id;
  bool born = false;
  bool ours = false;  // has a mapped metric
  Values now;
  Values past;  // of metrics marked historical
};

// What an alias stands for; `rule` is empty for a metric that is not mapped.
struct Alias {
  std::string device;
  const Rule* rule = nullptr;
  std::uint32_t datatype = 0;
};

struct Node {
  bool born = false;
  std::optional<Time> asked;  // for its birth
  std::optional<std::uint64_t> death_number;
  std::optional<std::uint64_t> seq;
  std::map<std::string, Station, std::less<>> stations;  // by device; "" is the node itself
  std::map<std::uint64_t, Alias> aliases;
  std::map<std::pair<std::string, std::string>, std::uint32_t> datatypes;  // by device and name, of mapped metrics
};

struct ReadyMapping {
  SparkplugMapping plain;
  Rules rules;
};

std::string where_of(std::size_t metric, std::string_view field) {
  std::string out = "/metrics";
  append_pointer(out, metric);
  append_pointer(out, field);
  return out;
}

}  // namespace

struct SparkplugDecoder::Parts {
  std::vector<ReadyMapping> mappings;
  std::map<std::pair<std::string, std::string>, Node> nodes;  // by group and edge node
  Payload payload;

  [[nodiscard]] const ReadyMapping* mapping_of(std::string_view group) const {
    for (const ReadyMapping& mapping : mappings)
      if (mapping.plain.group.empty() || mapping.plain.group == group) return &mapping;
    return nullptr;
  }
};

namespace {

// One message against what is known of its edge node.
class Taking {
 public:
  Taking(const ReadyMapping& mapping, const SparkplugTopic& topic, Node& node, Time received, SparkplugOutcome& out)
      : mapping_(mapping), topic_(topic), node_(node), received_(received), out_(out) {
    id_.site = mapping.plain.site.empty() ? std::string(topic.group) : mapping.plain.site;
    id_.station = of_device(topic.kind) ? topic.device : topic.node;
  }

  // False, with a fault, when the names cannot be ours.
  bool named() {
    for (const std::string& id : {id_.site, id_.station})
      if (!is_id(id)) {
        fault(FaultCode::bad_topic, {}, in_quotes(id) + " cannot name a site or station",
              "1 to 64 characters of A-Z a-z 0-9 . _ -; give the mapping a site for a group with another name");
        return false;
      }
    out_.station = id_;
    return true;
  }

  void take(const Payload& payload) {
    switch (topic_.kind) {
      case Kind::node_birth: return node_birth(payload);
      case Kind::node_death: return node_death(payload);
      case Kind::device_death: return device_death(payload);
      case Kind::device_birth:
        follow_seq(payload);
        if (!node_.born) return ask_for_birth("a device's birth before its edge node's");
        return birth(payload);
      case Kind::node_data:
      case Kind::device_data: {
        follow_seq(payload);
        const auto station = node_.stations.find(topic_.device);
        if (!node_.born || station == node_.stations.end() || !station->second.born)
          return ask_for_birth("data before the birth");
        return data(payload, station->second);
      }
    }
  }

 private:
  void fault(FaultCode code, std::string where, std::string why, std::string remedy) {
    out_.faults.push_back({code, std::move(where), std::move(why), std::move(remedy)});
  }

  void ask_for_birth(std::string why, std::string where = {}) {
    if (birth_missing_) return;  // said
    birth_missing_ = true;
    fault(FaultCode::birth_missing, std::move(where), std::move(why), "a birth; it has been asked for");
    constexpr std::chrono::seconds patience{30};  // a node with a slow link must not be asked with each of its messages
    if (node_.asked && received_ - *node_.asked < patience) return;
    node_.asked = received_;
    out_.rebirth_topic = std::string(space_name);
    for (const std::string_view level : {topic_.group, std::string_view("NCMD"), topic_.node}) out_.rebirth_topic->append("/").append(level);
  }

  // One more with each message of the node, 255 is followed by 0.
  void follow_seq(const Payload& payload) {
    if (!payload.seq || *payload.seq > 255) {
      fault(payload.seq ? FaultCode::out_of_range : FaultCode::missing_field, "/seq", payload.seq ? "the number is over 255" : "no sequence number",
            "one more than that of the message before, 0 after 255");
      return;
    }
    const auto before = node_.seq;
    node_.seq = payload.seq;
    if (node_.born && before && *payload.seq != (*before + 1) % 256)
      ask_for_birth("number " + std::to_string(*payload.seq) + " after " + std::to_string(*before) + ": messages are missing", "/seq");
  }

  [[nodiscard]] static const Metric* death_number(const Payload& payload) {
    for (const Metric& metric : payload.metrics)
      if (metric.name == death_number_name && std::holds_alternative<std::uint64_t>(metric.value)) return &metric;
    return nullptr;
  }

  void node_birth(const Payload& payload) {
    node_ = Node{};  // every device has to be born again
    node_.seq = payload.seq;
    if (!payload.seq || *payload.seq > 255)
      fault(payload.seq ? FaultCode::out_of_range : FaultCode::missing_field, "/seq", "no sequence number up to 255", "0");
    const Metric* const number = death_number(payload);
    if (number != nullptr) node_.death_number = std::get<std::uint64_t>(number->value);
    else fault(FaultCode::missing_field, "/metrics", "no metric bdSeq", "bdSeq, the number that the will carries too");
    node_.born = true;
    birth(payload);
  }

  void birth(const Payload& payload) {
    if (node_.stations.size() >= limits::devices_per_node_max + 1 &&  // and the node itself
        node_.stations.count(std::string(topic_.device)) == 0) {
      fault(FaultCode::too_many_stations, {}, "more than " + std::to_string(limits::devices_per_node_max) + " devices at one edge node", "fewer devices");
      return;
    }
    std::erase_if(node_.aliases, [&](const auto& alias) { return alias.second.device == topic_.device; });
    Station& station = node_.stations[std::string(topic_.device)];
    station = Station{id_, true, false, {}, {}};
    bool mapped = false;
    for (std::size_t i = 0; i < payload.metrics.size(); ++i) mapped |= learn(payload.metrics[i], i);
    if (!mapped) {
      // An edge node that only carries devices is no station; a device without any of our metrics is a mistake.
      if (of_device(topic_.kind)) fault(FaultCode::missing_field, "/metrics", "none of the mapped metrics", "the names that the mapping " + in_quotes(mapping_.plain.name) + " gives");
      return;
    }
    station.ours = true;
    part().presence = PresenceChange{time_of(payload.timestamp_ms).value_or(received_), true};
    data(payload, station);
  }

  // Remembers the alias and the type of a metric of a birth; true when it is mapped.
  bool learn(const Metric& metric, std::size_t index) {
    const auto rule = mapping_.rules.find(metric.name);
    const Rule* const mapped = rule == mapping_.rules.end() ? nullptr : &rule->second;
    if (mapped != nullptr) node_.datatypes[{std::string(topic_.device), std::string(metric.name)}] = metric.datatype;
    if (metric.alias) {
      if (node_.aliases.size() >= limits::aliases_per_node_max && node_.aliases.count(*metric.alias) == 0)
        fault(FaultCode::out_of_range, where_of(index, "alias"), "more than " + std::to_string(limits::aliases_per_node_max) + " aliases at one edge node", "fewer metrics");
      else node_.aliases[*metric.alias] = Alias{std::string(topic_.device), mapped, metric.datatype};
    }
    return mapped != nullptr;
  }

  struct Known {
    const Rule* rule = nullptr;
    std::uint32_t datatype = 0;
  };
  // Which field a metric is; an unknown one asks for a birth.
  Known known(const Metric& metric, std::size_t index) {
    if (!metric.name.empty()) {
      const auto rule = mapping_.rules.find(metric.name);
      if (rule == mapping_.rules.end()) return {};
      const auto type = node_.datatypes.find({std::string(topic_.device), std::string(metric.name)});
      if (type != node_.datatypes.end()) return {&rule->second, metric.datatype != 0 ? metric.datatype : type->second};
      ask_for_birth(in_quotes(metric.name) + " was not in the birth", where_of(index, "name"));
      return {&rule->second, metric.datatype};
    }
    if (!metric.alias) {
      fault(FaultCode::missing_field, where_of(index, "name"), "neither name nor alias", "the alias that the birth gave");
      return {};
    }
    const auto alias = node_.aliases.find(*metric.alias);
    if (alias == node_.aliases.end() || alias->second.device != topic_.device) {
      ask_for_birth("alias " + std::to_string(*metric.alias) + " was not in the birth", where_of(index, "alias"));
      return {};
    }
    return {alias->second.rule, metric.datatype != 0 ? metric.datatype : alias->second.datatype};
  }

  struct Change {
    Time time{};
    std::size_t index = 0;
    Known known;
  };

  void data(const Payload& payload, Station& station) {
    std::vector<Change> changes;
    for (std::size_t i = 0; i < payload.metrics.size(); ++i) {
      const Known metric = known(payload.metrics[i], i);
      if (metric.rule == nullptr) continue;
      if (const auto time = plausible_time(payload, i)) changes.push_back({*time, i, metric});
    }
    std::stable_sort(changes.begin(), changes.end(), [](const Change& a, const Change& b) { return a.time < b.time; });
    apply(payload, changes, true, station.past);
    apply(payload, changes, false, station.now);
  }

  // One sample for each time stamp among the changes of the wanted kind.
  void apply(const Payload& payload, const std::vector<Change>& changes, bool historical, Values& values) {
    bool settings_changed = false;
    for (std::size_t i = 0; i < changes.size();) {
      const Time time = changes[i].time;
      bool sample_changed = false;
      for (; i < changes.size() && changes[i].time == time; ++i) {
        const Change& change = changes[i];
        const Metric& metric = payload.metrics[change.index];
        if (metric.is_historical != historical) continue;
        (is_setting(change.known.rule->slot) ? settings_changed : sample_changed) = true;
        if (auto trouble = sparkplug::take_metric(*change.known.rule, metric, change.known.datatype, values)) {
          trouble->where = where_of(change.index, "value");
          out_.faults.push_back(std::move(*trouble));
        }
      }
      if (!sample_changed) continue;
      values.sample.time = time;
      part().samples.push_back(values.sample);
    }
    if (settings_changed && !historical) part().settings = values.settings;
  }

  std::optional<Time> time_of(std::optional<std::uint64_t> ms) const {
    constexpr std::uint64_t year_9999_ms = 253'402'300'799'999;
    if (!ms || *ms > year_9999_ms) return std::nullopt;
    const Time time = time_from_ms(static_cast<std::int64_t>(*ms));
    return json_values::plausible(time, received_) ? std::optional(time) : std::nullopt;
  }

  // The metric's own time, else the message's, else that of arrival; empty with a fault when it cannot be right.
  std::optional<Time> plausible_time(const Payload& payload, std::size_t index) {
    const auto stamp = payload.metrics[index].timestamp_ms ? payload.metrics[index].timestamp_ms : payload.timestamp_ms;
    if (!stamp) return received_;
    const auto time = time_of(stamp);
    if (!time)
      fault(FaultCode::time_implausible, payload.metrics[index].timestamp_ms ? where_of(index, "timestamp") : "/timestamp",
            std::to_string(*stamp) + ": far from when the message was received; is the clock set?", "milliseconds since 1970");
    return time;
  }

  void node_death(const Payload& payload) {
    const Metric* const number = death_number(payload);
    // An older will that comes late: its connection has been replaced (chapter 5, NDEATH).
    if (!node_.born || number == nullptr || (node_.death_number && std::get<std::uint64_t>(number->value) != *node_.death_number)) return;
    for (auto& [device, station] : node_.stations)
      if (station.ours) out_.parts.push_back({station.id, {}, std::nullopt, PresenceChange{received_, false}});
    std::sort(out_.parts.begin(), out_.parts.end(), [](const SparkplugPart& a, const SparkplugPart& b) { return a.station < b.station; });
    node_ = Node{};
  }

  void device_death(const Payload& payload) {
    follow_seq(payload);
    const auto station = node_.stations.find(topic_.device);
    if (station == node_.stations.end() || !station->second.born) return;
    if (station->second.ours) part().presence = PresenceChange{time_of(payload.timestamp_ms).value_or(received_), false};
    node_.stations.erase(station);
  }

  SparkplugPart& part() {
    if (out_.parts.empty()) out_.parts.push_back(SparkplugPart{id_, {}, std::nullopt, std::nullopt});
    return out_.parts.back();
  }

  const ReadyMapping& mapping_;
  const SparkplugTopic& topic_;
  Node& node_;
  Time received_;
  SparkplugOutcome& out_;
  StationId id_;
  bool birth_missing_ = false;
};

}  // namespace

SparkplugDecoder::SparkplugDecoder(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
SparkplugDecoder::~SparkplugDecoder() = default;
SparkplugDecoder::SparkplugDecoder(SparkplugDecoder&&) noexcept = default;
SparkplugDecoder& SparkplugDecoder::operator=(SparkplugDecoder&&) noexcept = default;

tl::expected<SparkplugDecoder, std::vector<MappingMistake>> SparkplugDecoder::make(std::vector<SparkplugMapping> mappings) {
  auto parts = std::make_unique<Parts>();
  std::vector<MappingMistake> mistakes;
  MappingCheck check(mistakes);
  for (std::size_t i = 0; i < mappings.size(); ++i) {
    std::string where;
    append_pointer(where, i);
    if (mappings[i].group.find_first_of("/+#") != std::string::npos) check.wrong(where + "/group", in_quotes(mappings[i].group) + " is no group", "a name without / + #");
    if (!mappings[i].site.empty()) check.site(where + "/site", mappings[i].site);
    Rules rules = sparkplug::rules_of(mappings[i], where, check);
    parts->mappings.push_back({std::move(mappings[i]), std::move(rules)});
  }
  if (!mistakes.empty()) return tl::unexpected(std::move(mistakes));
  return SparkplugDecoder(std::move(parts));
}

bool SparkplugDecoder::is_about(std::string_view topic) const {
  const auto read = read_topic(topic);
  return read && parts_->mapping_of(read->group) != nullptr;
}

void SparkplugDecoder::take(std::string_view topic, std::string_view payload, Time received, SparkplugOutcome& out) {
  out.parts.clear();
  out.faults.clear();
  out.station.reset();
  out.rebirth_topic.reset();
  const auto read = read_topic(topic);
  const ReadyMapping* const mapping = read ? parts_->mapping_of(read->group) : nullptr;
  if (mapping == nullptr) return;

  const std::pair key{std::string(read->group), std::string(read->node)};
  const bool is_new = parts_->nodes.count(key) == 0;
  if (is_new && parts_->nodes.size() >= limits::nodes_max) {
    out.faults.push_back({FaultCode::too_many_stations, {}, "more than " + std::to_string(limits::nodes_max) + " edge nodes", "fewer edge nodes, or a mapping with a group"});
    return;
  }
  Node unknown;
  Taking taking(*mapping, *read, is_new ? unknown : parts_->nodes[key], received, out);
  if (!taking.named()) return;
  if (payload.size() > limits::payload_bytes_max) {
    out.faults.push_back({FaultCode::too_large, {}, std::to_string(payload.size()) + " bytes",
                          "at most " + std::to_string(limits::payload_bytes_max) + " bytes a message"});
    return;
  }
  switch (sparkplug::read(payload, parts_->payload)) {
    case sparkplug::Trouble::none: break;
    case sparkplug::Trouble::cut_off:
      out.faults.push_back({FaultCode::not_sparkplug, {}, "the payload ends too early", "a whole Sparkplug B payload"});
      return;
    case sparkplug::Trouble::broken:
      out.faults.push_back({FaultCode::not_sparkplug, {}, "the payload is not in the encoding of Sparkplug B", "protocol buffers as Sparkplug B 3.0 has them"});
      return;
    case sparkplug::Trouble::too_many:
      out.faults.push_back({FaultCode::batch_too_long, "/metrics", "more than " + std::to_string(limits::metrics_per_message_max) + " metrics", "several messages"});
      return;
  }
  taking.take(parts_->payload);
  if (is_new) parts_->nodes.emplace(key, std::move(unknown));
}

std::vector<std::string> SparkplugDecoder::topic_filters() const {
  std::set<std::string> filters;
  for (const ReadyMapping& mapping : parts_->mappings)
    filters.insert(std::string(space_name) + "/" + (mapping.plain.group.empty() ? "+" : mapping.plain.group) + "/#");
  return {filters.begin(), filters.end()};
}

}  // namespace driftline
