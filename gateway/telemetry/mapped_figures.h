// Mapped fields made ready: units looked up, mistakes said once at the start. Shared by the mapped and the Sparkplug decoder.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/telemetry/mapping.h"
#include "gateway/telemetry/units.h"

namespace driftline {

// A figure of ours: what it may be, and what to send instead.
struct FigureRule {
  Quantity quantity = Quantity::pressure;
  std::string_view default_unit;
  double min = 0;
  double max = 0;
  bool above_zero = false;
  std::string_view remedy;
  [[nodiscard]] bool holds(double ours) const { return ours >= min && ours <= max && (!above_zero || ours > 0); }
};

extern const FigureRule pressure_rule;
extern const FigureRule level_rule;
extern const FigureRule temp_rule;
extern const FigureRule cycle_rule;
extern const FigureRule pump_limit_rule;
extern const FigureRule target_rule;
extern const FigureRule residual_rule;

// From a message's own figure to ours.
struct FigureReading {
  UnitConversion unit;
  double scale = 1;
  double offset = 0;
  [[nodiscard]] double ours(double raw) const { return unit.convert(raw * scale + offset); }
};

// Collects what is wrong with a list of mappings.
class MappingCheck {
 public:
  explicit MappingCheck(std::vector<MappingMistake>& mistakes) : mistakes_(mistakes) {}

  void wrong(std::string where, std::string why, std::string remedy);
  // `quantity` empty: a count, which has no unit.
  [[nodiscard]] FigureReading reading(const std::string& where, const MappedField& field, std::optional<FigureRule> rule);
  void words(const std::string& where, const MappedSwitch& field);
  void site(const std::string& where, std::string_view site);

 private:
  std::vector<MappingMistake>& mistakes_;
};

// Whether the value, as text, is among the words; empty when among neither.
[[nodiscard]] std::optional<bool> switch_state(const MappedSwitch& field, std::string_view value);
[[nodiscard]] std::string switch_remedy(const MappedSwitch& field);

// "12.4" and nothing else around it.
[[nodiscard]] std::optional<double> number_in_text(std::string_view text);

// A number as a switch's words have it: 1 for 1.0.
[[nodiscard]] std::string number_as_word(double value);

}  // namespace driftline
