#include "gateway/telemetry/sparkplug_metrics.h"

#include <cmath>

#include "gateway/telemetry/json_text.h"

namespace driftline::sparkplug {
namespace {

class Preparation {
 public:
  Preparation(const std::string& where, MappingCheck& check) : where_(where), check_(check) {}

  void figure(const char* place, const std::optional<MappedField>& field, Slot slot, const FigureRule* rule, std::size_t line_index = 0) {
    if (!field) return;
    Rule out;
    out.slot = slot;
    out.line_index = line_index;
    out.figure = rule;
    out.reading = check_.reading(where_ + place, *field, rule != nullptr ? std::optional(*rule) : std::nullopt);
    add(place, field->at, std::move(out));
  }
  void a_switch(const char* place, const std::optional<MappedSwitch>& field, Slot slot) {
    if (!field) return;
    check_.words(where_ + place, *field);
    Rule out;
    out.slot = slot;
    out.words = *field;
    add(place, field->at, std::move(out));
  }

  Rules rules;

 private:
  void add(const char* place, const std::string& name, Rule rule) {
    if (name.empty()) check_.wrong(where_ + place + "/at", "no metric is named", "the metric's name, as in the birth");
    else if (!rules.emplace(name, std::move(rule)).second)
      check_.wrong(where_ + place + "/at", in_quotes(name) + " is mapped twice", "each metric to one field");
  }

  const std::string& where_;
  MappingCheck& check_;
};

std::optional<std::string> word_of(const Metric& metric, std::uint32_t datatype) {
  if (const auto* truth = std::get_if<bool>(&metric.value)) return *truth ? "true" : "false";
  if (const auto* text = std::get_if<std::string_view>(&metric.value)) return std::string(*text);
  if (const auto number = number_of(metric.value, datatype)) return number_as_word(*number);
  return std::nullopt;
}

std::string describe(const Metric& metric, std::uint32_t datatype) {
  if (const auto* text = std::get_if<std::string_view>(&metric.value)) return in_quotes(*text) + " is text";
  const auto word = word_of(metric, datatype);
  return word ? *word + " stands here" : "no value of a kind that can be used";
}

Fault wrong(const Metric& metric, std::uint32_t datatype, std::string_view remedy) {
  return {FaultCode::wrong_type, {}, describe(metric, datatype), std::string(remedy)};
}

Fault out_of_range(double raw, std::string_view remedy) {
  return {FaultCode::out_of_range, {}, number_as_word(raw) + " is out of range", std::string(remedy)};
}

void set_pressure(Pressures& pressure, std::size_t index, std::optional<double> value) {
  while (pressure.lines <= index) pressure.append(std::nullopt);
  const auto bit = static_cast<std::uint8_t>(1U << index);
  pressure.bar[index] = value.value_or(0.0);
  pressure.given = static_cast<std::uint8_t>(value ? pressure.given | bit : pressure.given & ~bit);
}

void set_figure(const Rule& rule, std::optional<double> value, Values& out) {
  switch (rule.slot) {
    case Slot::pressure: return set_pressure(out.sample.pressure, rule.line_index, value);
    case Slot::level: out.sample.level_pct = value; return;
    case Slot::temp: out.sample.temp_c = value; return;
    case Slot::cycle: out.settings.cycle_s = value; return;
    case Slot::pump_limit: out.settings.pump_limit_s = value; return;
    case Slot::target: out.settings.target_bar = value; return;
    case Slot::residual: out.settings.residual_bar = value; return;
    case Slot::seq:
    case Slot::pump:
    case Slot::line:
    case Slot::level_low:
    case Slot::lines: return;  // no figures
  }
}

std::optional<Fault> take_switch(const Rule& rule, const Metric& metric, std::uint32_t datatype, Values& out) {
  auto& field = rule.slot == Slot::pump ? out.sample.pump : out.sample.level_low;
  field.reset();
  if (metric.is_null) return std::nullopt;
  const auto word = word_of(metric, datatype);
  if (!word) return wrong(metric, datatype, switch_remedy(rule.words));
  field = switch_state(rule.words, *word);
  if (field) return std::nullopt;
  return Fault{FaultCode::out_of_range, {}, in_quotes(*word) + " is neither of the two states", switch_remedy(rule.words)};
}

std::optional<Fault> take_count(const Rule& rule, const Metric& metric, std::uint32_t datatype, Values& out) {
  if (rule.slot == Slot::seq) out.sample.seq.reset();
  else (rule.slot == Slot::line ? out.sample.line : out.settings.lines).reset();
  if (metric.is_null) return std::nullopt;
  constexpr double whole_max = 9007199254740992.0;  // beyond, a double skips whole numbers
  const std::string_view remedy = rule.slot == Slot::seq ? "a whole number from 0" : "a whole number from 1 to 8 after scale and offset";
  const auto raw = number_of(metric.value, datatype);
  if (!raw) return wrong(metric, datatype, remedy);
  const double ours = rule.reading.ours(*raw);
  const bool fits = std::trunc(ours) == ours && (rule.slot == Slot::seq ? ours >= 0 && ours <= whole_max : ours >= 1 && ours <= lines_max);
  if (!fits) return out_of_range(*raw, remedy);
  if (rule.slot == Slot::seq) out.sample.seq = static_cast<std::uint64_t>(ours);
  else (rule.slot == Slot::line ? out.sample.line : out.settings.lines) = static_cast<int>(ours);
  return std::nullopt;
}

}  // namespace

Rules rules_of(const SparkplugMapping& mapping, const std::string& where, MappingCheck& check) {
  Preparation out(where, check);
  const MappedSample& sample = mapping.sample;
  if (sample.time) check.wrong(where + "/sample/time", "metrics carry their own time", "leave it out");
  if (sample.pressures) check.wrong(where + "/sample/pressures", "a metric is no list", "line_pressures, one metric a line");
  if (sample.line_pressures.size() > static_cast<std::size_t>(lines_max))
    check.wrong(where + "/sample/line_pressures", "more than 8 lines", "one metric for each of at most 8 lines");
  out.figure("/sample/seq", sample.seq, Slot::seq, nullptr);
  out.a_switch("/sample/pump", sample.pump, Slot::pump);
  out.figure("/sample/line", sample.line, Slot::line, nullptr);
  for (std::size_t i = 0; i < sample.line_pressures.size() && i < static_cast<std::size_t>(lines_max); ++i) {
    if (sample.line_pressures[i].at.empty()) continue;  // a line without sensor
    std::string place = "/sample/line_pressures";
    append_pointer(place, i);
    out.figure(place.c_str(), sample.line_pressures[i], Slot::pressure, &pressure_rule, i);
  }
  out.figure("/sample/level", sample.level, Slot::level, &level_rule);
  out.a_switch("/sample/level_low", sample.level_low, Slot::level_low);
  out.figure("/sample/temp", sample.temp, Slot::temp, &temp_rule);
  out.figure("/settings/cycle", mapping.settings.cycle, Slot::cycle, &cycle_rule);
  out.figure("/settings/pump_limit", mapping.settings.pump_limit, Slot::pump_limit, &pump_limit_rule);
  out.figure("/settings/target", mapping.settings.target, Slot::target, &target_rule);
  out.figure("/settings/residual", mapping.settings.residual, Slot::residual, &residual_rule);
  out.figure("/settings/lines", mapping.settings.lines, Slot::lines, nullptr);
  if (out.rules.empty()) check.wrong(where + "/sample", "no metric is mapped", "at least one of them");
  return std::move(out.rules);
}

std::optional<Fault> take_metric(const Rule& rule, const Metric& metric, std::uint32_t datatype, Values& values) {
  if (rule.figure == nullptr) {
    const bool is_switch = rule.slot == Slot::pump || rule.slot == Slot::level_low;
    return is_switch ? take_switch(rule, metric, datatype, values) : take_count(rule, metric, datatype, values);
  }
  // What cannot be used is unknown from now on, not what it was before.
  set_figure(rule, std::nullopt, values);
  if (metric.is_null) return std::nullopt;
  const auto raw = number_of(metric.value, datatype);
  if (!raw) return wrong(metric, datatype, rule.figure->remedy);
  const double ours = rule.reading.ours(*raw);
  if (!rule.figure->holds(ours)) return out_of_range(*raw, rule.figure->remedy);
  set_figure(rule, ours, values);
  return std::nullopt;
}

bool is_setting(Slot slot) { return slot >= Slot::cycle; }

}  // namespace driftline::sparkplug
