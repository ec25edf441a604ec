// What every answer of a decoder promises, whatever came in.
#pragma once

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/json_pointer.h"
#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/limits.h"
#include "tests/fuzz/targets.h"

namespace driftline::fuzz {

inline bool is_utf8(std::string_view text) {
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    if (length == 0) return false;
    text.remove_prefix(length);
  }
  return true;
}

inline void hold_fault(const Fault& fault) {
  hold(static_cast<std::size_t>(fault.code) < fault_code_count, "a code of the list");
  hold(!fault.why.empty() && !fault.remedy.empty(), "a fault says why and what would be right");
  hold(is_utf8(fault.why) && is_utf8(fault.remedy), "faults are UTF-8");
  hold(fault.why.size() < 1000, "what is quoted is cut");
  hold(JsonPointer::parse(fault.where).has_value(), "where is a JSON Pointer");
}

inline void hold_sample(const Sample& sample) {
  namespace limits = telemetry_limits;
  hold(ms_since_1970(sample.time) >= limits::time_ms_min, "no time before 2000");
  hold(!sample.line || (*sample.line >= 1 && *sample.line <= lines_max), "lines are 1 to 8");
  hold(sample.pressure.lines <= lines_max, "at most 8 pressures");
  for (int line = 1; line <= lines_max; ++line)
    if (const auto bar = sample.pressure.of_line(line))
      hold(*bar >= limits::pressure_bar_min && *bar <= limits::pressure_bar_max, "pressures are in range");
  if (sample.level_pct) hold(*sample.level_pct >= limits::level_pct_min && *sample.level_pct <= limits::level_pct_max, "levels are in range");
  if (sample.temp_c) hold(*sample.temp_c >= limits::temp_c_min && *sample.temp_c <= limits::temp_c_max, "temperatures are in range");
}

inline void hold_settings(const ControllerSettings& settings) {
  for (const auto& figure : {settings.cycle_s, settings.pump_limit_s, settings.target_bar, settings.residual_bar})
    hold(!figure || *figure > 0, "settings are above 0");
  hold(!settings.lines || (*settings.lines >= 1 && *settings.lines <= lines_max), "lines are 1 to 8");
}

inline void hold_decoded(const Decoded& decoded) {
  for (const Sample& sample : decoded.samples) hold_sample(sample);
  for (const Fault& fault : decoded.faults) hold_fault(fault);
  if (decoded.settings) hold_settings(*decoded.settings);
}

inline bool same(const Decoded& a, const Decoded& b) {
  return a.samples == b.samples && a.settings == b.settings && a.presence == b.presence && a.note == b.note && a.faults == b.faults;
}

}  // namespace driftline::fuzz
