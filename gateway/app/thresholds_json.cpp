#include "gateway/app/thresholds_json.h"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>
#include <variant>

#include "rules/records/names.h"

namespace driftline {
namespace {

using Member = std::variant<double Thresholds::*, int Thresholds::*, std::optional<double> Thresholds::*>;
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
};

using ConditionMember =
    std::variant<bool ConditionThresholds::*, std::optional<double> ConditionThresholds::*>;
struct ConditionField {
  std::string_view name;
  ConditionMember member;
};
const std::array condition_fields{
    ConditionField{"watched", &ConditionThresholds::watched},
    ConditionField{"false_warnings_per_year", &ConditionThresholds::false_warnings_per_year},
    ConditionField{"smallest_shift_pct", &ConditionThresholds::smallest_shift},
};

template <typename Owner, typename Member>
void take(const Json& document, std::string_view name, Owner& owner, const Member& member) {
  const auto found = document.find(name);
  if (found == document.end() || found->is_null()) return;
  std::visit(
      [&](auto pointer) {
        if constexpr (std::is_same_v<std::remove_cvref_t<decltype(owner.*pointer)>, std::optional<double>>)
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
  for (const ThresholdLayer& layer : layers) all.merge_patch(*layer.patch);
  return all;
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
        take(*condition, field.name, thresholds.conditions[i], field.member);
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
  for (std::size_t i = 0; i < condition_count; ++i)
    for (const ConditionField& field : condition_fields)
      put(document["conditions"][condition_name(i)], field.name, thresholds.conditions[i], field.member);
  return document;
}

std::vector<std::string> threshold_names() {
  std::vector<std::string> names;
  for (const Field& field : fields) names.emplace_back(field.name);
  for (std::size_t i = 0; i < condition_count; ++i)
    for (const ConditionField& field : condition_fields)
      names.push_back("conditions/" + condition_name(i) + "/" + std::string(field.name));
  return names;
}

std::vector<EffectiveThreshold> explained(const std::vector<ThresholdLayer>& layers) {
  const Thresholds thresholds = thresholds_of(merged(layers));
  std::vector<EffectiveThreshold> all;
  const auto tell = [&](const std::string& name, const auto& owner, const auto& member) {
    std::visit(
        [&](auto pointer) {
          all.push_back({name, as_json(owner.*pointer).dump(), origin_of(layers, name)});
        },
        member);
  };
  for (const Field& field : fields) tell(std::string(field.name), thresholds, field.member);
  for (std::size_t i = 0; i < condition_count; ++i)
    for (const ConditionField& field : condition_fields)
      tell("conditions/" + condition_name(i) + "/" + std::string(field.name), thresholds.conditions[i],
           field.member);
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
  return problems;
}

}  // namespace driftline
