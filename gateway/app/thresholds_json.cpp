#include "gateway/app/thresholds_json.h"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>
#include <variant>

#include "gateway/app/quiet_text.h"
#include "rules/records/names.h"

namespace driftline {
namespace {

using Member = std::variant<double Thresholds::*, int Thresholds::*, std::optional<double> Thresholds::*, QuietPeriods Thresholds::*>;
struct Field {
  std::string_view name;
  Member member;
};
// A new threshold: a line here and a property in config/schema/thresholds.schema.json.
const std::array fields{
    Field{"false_warnings_per_year", &Thresholds::false_warnings_per_year},
    Field{"turns_to_learn", &Thresholds::turns_to_learn},
    Field{"plan_days", &Thresholds::plan_days},
    Field{"act_days", &Thresholds::act_days},
    Field{"reservoir_notice_days", &Thresholds::reservoir_notice_days},
    Field{"reservoir_plan_days", &Thresholds::reservoir_plan_days},
    Field{"reservoir_act_days", &Thresholds::reservoir_act_days},
    Field{"silent_after_s", &Thresholds::silent_after_s},
    Field{"quiet", &Thresholds::quiet},
};

using ConditionMember = std::variant<bool ConditionThresholds::*, std::optional<double> ConditionThresholds::*, std::optional<QuietPeriods> ConditionThresholds::*>;
// Of which conditions: what would do nothing is no name there.
using Which = unsigned;
constexpr Which all_conditions = (1U << condition_count) - 1;
constexpr Which of(std::initializer_list<Condition> conditions) {
  Which which = 0;
  for (const Condition condition : conditions) which |= 1U << static_cast<unsigned>(condition);
  return which;
}
struct ConditionField {
  std::string_view name;
  ConditionMember member;
  Which which = all_conditions;
};
constexpr std::string_view shift_pct = "smallest_shift_pct";
constexpr std::string_view shift_s = "smallest_shift_s";
constexpr std::string_view shift_bar = "smallest_shift_bar";
const std::array condition_fields{
    ConditionField{"watched", &ConditionThresholds::watched},
    ConditionField{"false_warnings_per_year", &ConditionThresholds::false_warnings_per_year},
    ConditionField{shift_pct, &ConditionThresholds::smallest_shift},
    ConditionField{shift_s, &ConditionThresholds::smallest_shift_own, of({Condition::slow_to_pressure, Condition::quick_to_pressure, Condition::slow_vent})},
    ConditionField{shift_bar, &ConditionThresholds::smallest_shift_own, of({Condition::peak_shift, Condition::residual_pressure})},
    ConditionField{"limit_s", &ConditionThresholds::limit, of({Condition::slow_to_pressure, Condition::slow_vent})},
    ConditionField{"limit_bar", &ConditionThresholds::limit, of({Condition::peak_shift, Condition::residual_pressure})},
    ConditionField{"limit_pct", &ConditionThresholds::limit, of({Condition::reservoir_low})},
    ConditionField{"plan_days", &ConditionThresholds::plan_days, of({Condition::slow_to_pressure, Condition::residual_pressure, Condition::slow_vent})},
    ConditionField{"act_days", &ConditionThresholds::act_days, of({Condition::slow_to_pressure})},
    ConditionField{"quiet", &ConditionThresholds::quiet},
};

bool has(std::size_t condition, const ConditionField& field) { return (field.which >> condition & 1U) != 0; }

// Calls with the index of each condition and each of its fields, in the order in which they are told.
template <class Call>
void for_each_field(const Call& call) {
  for (std::size_t i = 0; i < condition_count; ++i)
    for (const ConditionField& field : condition_fields)
      if (has(i, field)) call(i, field);
}

// A text that is no period becomes one that never is; contradictions_in tells of it.
QuietPeriods periods_of(const Json& list) {
  QuietPeriods periods;
  for (const Json& one : list) periods.push_back(quiet_period_of(one.get<std::string>()).value_or(QuietPeriod{}));
  return periods;
}

template <typename Owner, typename Member>
void take(const Json& document, std::string_view name, Owner& owner, const Member& member) {
  const auto found = document.find(name);
  if (found == document.end() || found->is_null()) return;
  std::visit(
      [&](auto pointer) {
        using Value = std::remove_cvref_t<decltype(owner.*pointer)>;
        if constexpr (std::is_same_v<Value, QuietPeriods> || std::is_same_v<Value, std::optional<QuietPeriods>>)
          owner.*pointer = periods_of(*found);
        else if constexpr (std::is_same_v<Value, std::optional<double>>)
          owner.*pointer = found->template get<double>();
        else
          found->get_to(owner.*pointer);
      },
      member);
}

Json as_json(const std::optional<double>& value) {
  return value ? Json(*value) : Json(nullptr);
}
Json as_json(double value) {
  return value;
}
Json as_json(int value) {
  return value;
}
Json as_json(bool value) {
  return value;
}
Json as_json(const QuietPeriods& periods) {
  Json list = Json::array();
  for (const QuietPeriod& period : periods) list.push_back(text_of(period));
  return list;
}
Json as_json(const std::optional<QuietPeriods>& periods) {
  return periods ? as_json(*periods) : Json(nullptr);
}

std::string condition_name(std::size_t i) {
  return std::string(name_of(static_cast<Condition>(i)));
}

// The last layer that says anything of the place, null included, as long as no later one takes a level above
// it away.
std::string origin_of(const std::vector<ThresholdLayer>& layers, const std::string& name) {
  std::string from = "built-in";
  for (const ThresholdLayer& layer : layers) {
    const Json* at = layer.patch;
    std::size_t begin = 0;
    while (at != nullptr) {
      const std::size_t end = std::min(name.find('/', begin), name.size());
      const auto found = at->is_object() ? at->find(name.substr(begin, end - begin)) : at->end();
      if (!at->is_object() || found == at->end()) break;
      if (found->is_null()) {
        from = "built-in (" + layer.from + " takes back what stood before)";
        break;
      }
      if (end == name.size()) {
        from = layer.from;
        break;
      }
      at = &*found;
      begin = end + 1;
    }
  }
  return from;
}

}  // namespace

Json merged(const std::vector<ThresholdLayer>& layers) {
  Json all = Json::object();
  for (const ThresholdLayer& layer : layers) all.merge_patch(completed(*layer.patch));
  return all;
}

Json completed(const Json& patch) {
  Json out = patch;
  const auto conditions = out.find("conditions");
  if (!out.is_object() || conditions == out.end() || !conditions->is_object()) return out;
  for (auto& [name, condition] : conditions->items()) {
    if (!condition.is_object()) continue;
    constexpr std::array ways{shift_pct, shift_s, shift_bar};
    const bool any = std::any_of(ways.begin(), ways.end(), [&](std::string_view way) { return condition.contains(way) && !condition.at(std::string(way)).is_null(); });
    if (!any) continue;
    for (const std::string_view way : ways)
      if (!condition.contains(way)) condition[std::string(way)] = nullptr;
  }
  return out;
}

Thresholds thresholds_of(const Json& document) {
  Thresholds thresholds;
  for (const Field& field : fields) take(document, field.name, thresholds, field.member);
  const auto conditions = document.find("conditions");
  if (conditions == document.end() || !conditions->is_object()) return thresholds;
  for (std::size_t i = 0; i < condition_count; ++i)
    if (const auto condition = conditions->find(condition_name(i));
        condition != conditions->end() && condition->is_object())
      for (const ConditionField& field : condition_fields)
        if (has(i, field)) take(*condition, field.name, thresholds.conditions[i], field.member);
  return thresholds;
}

Json document_of(const Thresholds& thresholds) {
  Json document = Json::object();
  const auto put = [](Json& to, std::string_view name, const auto& owner, const auto& member) {
    std::visit([&](auto pointer) {
      if (Json value = as_json(owner.*pointer); !value.is_null()) to[std::string(name)] = std::move(value);
    }, member);
  };
  for (const Field& field : fields) put(document, field.name, thresholds, field.member);
  for_each_field([&](std::size_t i, const ConditionField& field) {
    put(document["conditions"][condition_name(i)], field.name, thresholds.conditions[i], field.member);
  });
  return document;
}

std::vector<std::string> threshold_names() {
  std::vector<std::string> names;
  for (const Field& field : fields) names.emplace_back(field.name);
  for_each_field([&](std::size_t i, const ConditionField& field) { names.push_back("conditions/" + condition_name(i) + "/" + std::string(field.name)); });
  return names;
}

std::vector<EffectiveThreshold> explained(const std::vector<ThresholdLayer>& as_written) {
  const Thresholds thresholds = thresholds_of(merged(as_written));
  std::vector<Json> whole;
  for (const ThresholdLayer& layer : as_written) whole.push_back(completed(*layer.patch));
  std::vector<ThresholdLayer> layers = as_written;
  for (std::size_t i = 0; i < layers.size(); ++i) layers[i].patch = &whole[i];
  std::vector<EffectiveThreshold> all;
  const auto tell = [&](const std::string& name, const auto& owner, const auto& member) {
    std::visit(
        [&](auto pointer) {
          all.push_back({name, as_json(owner.*pointer).dump(), origin_of(layers, name)});
        },
        member);
  };
  for (const Field& field : fields) tell(std::string(field.name), thresholds, field.member);
  for_each_field([&](std::size_t i, const ConditionField& field) {
    tell("conditions/" + condition_name(i) + "/" + std::string(field.name), thresholds.conditions[i], field.member);
  });
  return all;
}

std::vector<ConfigProblem> contradictions_in(const Thresholds& t) {
  std::vector<ConfigProblem> problems;
  const auto below = [&](double low, std::string_view low_name, double high, std::string_view high_name) {
    if (low <= high) return;
    problems.push_back({"", "/" + std::string(low_name),
                        Json(low).dump() + " is over " + std::string(high_name) + ", " + Json(high).dump(),
                        "at most " + std::string(high_name)});
  };
  below(t.act_days, "act_days", t.plan_days, "plan_days");
  below(t.reservoir_act_days, "reservoir_act_days", t.reservoir_plan_days, "reservoir_plan_days");
  below(t.reservoir_plan_days, "reservoir_plan_days", t.reservoir_notice_days, "reservoir_notice_days");
  const auto quiet = [&](const std::string& at, const QuietPeriods& periods) {
    for (std::size_t i = 0; i < periods.size(); ++i)
      if (periods[i].from_s == periods[i].to_s)
        problems.push_back({"", at + "/quiet/" + std::to_string(i), "it is no period: a day that no calendar has, or an end that does not come after its beginning", quiet_forms});
  };
  quiet("", t.quiet);
  for (std::size_t i = 0; i < condition_count; ++i) {
    const ConditionThresholds& own = t.conditions[i];
    const std::string at = "conditions/" + condition_name(i);
    const auto condition = static_cast<Condition>(i);
    if (own.plan_days || own.act_days) below(t.act_days_of(condition), own.act_days ? at + "/act_days" : "act_days", t.plan_days_of(condition), own.plan_days ? at + "/plan_days" : "plan_days");
    if (own.smallest_shift && own.smallest_shift_own)
      problems.push_back({"", "/" + at + "/" + std::string(shift_pct), "the smallest shift is said twice, in per cent and in the figure's own unit", "one of them"});
    if (own.quiet) quiet("/" + at, *own.quiet);
  }
  return problems;
}

}  // namespace driftline
