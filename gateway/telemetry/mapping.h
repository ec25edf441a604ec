// How another plant's messages are read as ours: plain data, loaded from configuration, checked by MappedDecoder::make and
// SparkplugDecoder::make.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/telemetry/decode.h"

namespace driftline {

// A figure found in a message: (raw * scale + offset) in `unit`, converted to ours. A number may stand as text, "12.4".
struct MappedField {
  std::string at;    // JSON Pointer (RFC 6901) within the sample; for Sparkplug the metric's name
  std::string unit;  // units.h; empty: already ours (bar gauge, C, s, %)
  double scale = 1;
  double offset = 0;  // an absolute pressure in bar becomes gauge pressure with -1.01325
  bool operator==(const MappedField&) const = default;
};

// A switch found in a message. A value is compared as text: true, false, 1, "ON" and 1.0 stand as true, false, 1, ON and 1.
struct MappedSwitch {
  std::string at;
  std::vector<std::string> yes{"true", "1"};
  std::vector<std::string> no{"false", "0"};
  bool operator==(const MappedSwitch&) const = default;
};

// Every member that is empty is not in the messages.
struct MappedSample {
  // Time of measurement. `unit`: empty for RFC 3339 text or integer milliseconds as in our own shape; "s", "ms", "us" or
  // "ns" since 1970, fractions allowed. scale and offset are not used. Empty: the time of arrival stands for it.
  std::optional<MappedField> time;
  std::optional<MappedField> seq;
  std::optional<MappedSwitch> pump;
  std::optional<MappedField> line;          // counted from 1; where it counts from 0 give an offset of 1
  std::optional<MappedField> pressures;     // a list, line 1 first
  std::vector<MappedField> line_pressures;  // or one figure a line, line 1 first; `at` may be empty for a line without sensor
  std::optional<MappedField> level;         // "%", or "1" for a share of one
  std::optional<MappedSwitch> level_low;
  std::optional<MappedField> temp;
  bool operator==(const MappedSample&) const = default;
};

struct MappedSettings {
  std::optional<MappedField> cycle;
  std::optional<MappedField> pump_limit;
  std::optional<MappedField> target;
  std::optional<MappedField> residual;
  std::optional<MappedField> lines;
  bool operator==(const MappedSettings&) const = default;
};

// One kind of message of one layout of topics.
struct Mapping {
  std::string name;     // of the mapping, for faults and for people
  // Levels of the topic: `{site}` and `{station}` name what they are, `+` passes over one level, all else is literal:
  // "plant/{site}/pumps/{station}/state". As a subscription each named level is a `+`.
  std::string topic;
  std::string site;     // where the topic does not name it
  std::string station;
  TopicKind kind = TopicKind::telemetry;  // telemetry, settings or presence
  std::string samples;  // JSON Pointer to the sample, or to the list of them; empty: the whole payload
  MappedSample sample;              // telemetry
  MappedSettings settings;          // settings
  std::optional<MappedSwitch> online;  // presence
  bool operator==(const Mapping&) const = default;
};

// Sparkplug B: `at` of each field is a metric's name.
struct SparkplugMapping {
  std::string name;
  std::string group;  // empty: any
  std::string site;   // empty: the group's id
  // The station is the device; a metric of the edge node itself belongs to a station named like the node.
  MappedSample sample;  // `time` is not used: metrics carry their own; `pressures` is not used
  MappedSettings settings;
  bool operator==(const SparkplugMapping&) const = default;
};

// What is wrong with a mapping, for `driftline check`.
struct MappingMistake {
  std::string where;  // JSON Pointer in the list of mappings: "/0/sample/level/unit"
  std::string why;
  std::string remedy;
  bool operator==(const MappingMistake&) const = default;
};

}  // namespace driftline
