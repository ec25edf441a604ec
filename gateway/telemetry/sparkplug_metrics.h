// Which metric of a Sparkplug B message is which field of ours, and how its value is taken.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "gateway/telemetry/fault.h"
#include "gateway/telemetry/mapped_figures.h"
#include "gateway/telemetry/sample.h"
#include "gateway/telemetry/sparkplug_wire.h"
#include "rules/records/settings.h"

namespace driftline::sparkplug {

enum class Slot : std::uint8_t { seq, pump, line, pressure, level, level_low, temp, cycle, pump_limit, target, residual, lines };

// One mapped metric.
struct Rule {
  Slot slot = Slot::seq;
  std::size_t line_index = 0;  // of a pressure, from 0
  FigureReading reading;
  MappedSwitch words;
  const FigureRule* figure = nullptr;  // empty: a count or a switch
};

using Rules = std::map<std::string, Rule, std::less<>>;

// Mistakes are said with places under `where`.
[[nodiscard]] Rules rules_of(const SparkplugMapping& mapping, const std::string& where, MappingCheck& check);

// The latest of each mapped metric.
struct Values {
  Sample sample;
  ControllerSettings settings;
};

// Takes one metric over; a fault's `where` is left to the caller.
[[nodiscard]] std::optional<Fault> take_metric(const Rule& rule, const Metric& metric, std::uint32_t datatype, Values& values);

[[nodiscard]] bool is_setting(Slot slot);

}  // namespace driftline::sparkplug
