#include "gateway/telemetry/mapped_figures.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "gateway/telemetry/json_text.h"
#include "gateway/telemetry/limits.h"
#include "gateway/telemetry/topic_text.h"

namespace driftline {

namespace limits = telemetry_limits;

const FigureRule pressure_rule{Quantity::pressure, "bar", limits::pressure_bar_min, limits::pressure_bar_max, false,
                               "a pressure from -50 to 1000 bar gauge after conversion"};
const FigureRule level_rule{Quantity::share, "%", limits::level_pct_min, limits::level_pct_max, false,
                            "a level from 0 to 100 % after conversion"};
const FigureRule temp_rule{Quantity::temperature, "C", limits::temp_c_min, limits::temp_c_max, false,
                           "a temperature from -90 to 150 C after conversion"};
const FigureRule cycle_rule{Quantity::duration, "s", 0, limits::cycle_s_max, true, "a time above 0, up to 31 days"};
const FigureRule pump_limit_rule{Quantity::duration, "s", 0, limits::pump_limit_s_max, true, "a time above 0, up to a day"};
const FigureRule target_rule{Quantity::pressure, "bar", 0, limits::target_bar_max, true, "a pressure above 0, up to 1000 bar"};
const FigureRule residual_rule{Quantity::pressure, "bar", 0, limits::residual_bar_max, true, "a pressure above 0 and under the target"};

void MappingCheck::wrong(std::string where, std::string why, std::string remedy) {
  mistakes_.push_back({std::move(where), std::move(why), std::move(remedy)});
}

FigureReading MappingCheck::reading(const std::string& where, const MappedField& field, std::optional<FigureRule> rule) {
  FigureReading out{{}, field.scale, field.offset};
  if (!std::isfinite(field.scale) || field.scale == 0) wrong(where + "/scale", "the scale is 0 or no number", "a number that is not 0");
  if (!std::isfinite(field.offset)) wrong(where + "/offset", "the offset is no number", "a number, in the message's unit");
  if (!rule) {
    if (!field.unit.empty()) wrong(where + "/unit", in_quotes(field.unit) + " for a count", "no unit");
    return out;
  }
  const auto unit = unit_named(field.unit.empty() ? rule->default_unit : std::string_view(field.unit));
  if (unit && unit->quantity == rule->quantity) out.unit = *unit;
  else wrong(where + "/unit", in_quotes(field.unit) + " is no unit of this figure", std::string(unit_names(rule->quantity)));
  return out;
}

void MappingCheck::words(const std::string& where, const MappedSwitch& field) {
  if (field.yes.empty() || field.no.empty()) wrong(where, "no words for one of the two states", "at least one word each in yes and no");
  for (const std::string& word : field.yes)
    if (std::find(field.no.begin(), field.no.end(), word) != field.no.end())
      wrong(where + "/no", in_quotes(word) + " means both states", "each word in one list");
}

void MappingCheck::site(const std::string& where, std::string_view site) {
  if (!is_id(site)) wrong(where, in_quotes(site) + " cannot name a site or station", "1 to 64 characters of A-Z a-z 0-9 . _ -");
}

std::optional<bool> switch_state(const MappedSwitch& field, std::string_view value) {
  if (std::find(field.yes.begin(), field.yes.end(), value) != field.yes.end()) return true;
  if (std::find(field.no.begin(), field.no.end(), value) != field.no.end()) return false;
  return std::nullopt;
}

std::string switch_remedy(const MappedSwitch& field) {
  std::string out;
  for (const auto* words : {&field.yes, &field.no})
    for (const std::string& word : *words) {
      if (!out.empty()) out += " or ";
      out += cut_short(word);
    }
  return out;
}

std::optional<double> number_in_text(std::string_view text) {
  double value = 0;
  const auto result = std::from_chars(text.data(), text.data() + text.size(), value);
  if (result.ec != std::errc() || result.ptr != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::string number_as_word(double value) {
  char text[32];
  const auto end = std::to_chars(text, text + sizeof text, value + 0.0).ptr;
  return {text, end};
}

}  // namespace driftline
