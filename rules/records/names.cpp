#include "rules/records/names.h"

#include <array>

namespace driftline {
namespace {

constexpr std::array<std::string_view, 4> outcome_names{"reached", "not-reached", "interrupted", "unclear"};
constexpr std::array<std::string_view, condition_count> condition_names{
    "slow-to-pressure", "quick-to-pressure", "pressure-not-reached", "peak-shift",
    "residual-pressure", "slow-vent", "reservoir-low", "short-reservoir-life",
    "grease-use-shift", "missed-turn", "station-silent", "doubtful-sensor"};
constexpr std::array<std::string_view, cause_count> cause_names{
    "line-broken", "slow-leak", "air-in-line", "stiff-grease", "pump-worn", "relief-leaking",
    "changeover-leaking", "metering-stuck", "line-restricted", "vent-restricted", "outside-pressure",
    "reservoir-leak", "level-sensor-stuck", "pressure-sensor-drift", "settings-changed", "power-lost", "link-lost"};
constexpr std::array<std::string_view, 3> urgency_names{"notice", "plan", "act"};
constexpr std::array<std::string_view, 3> change_names{"raised", "urgency-changed", "cleared"};
constexpr std::array<std::string_view, 6> service_kind_names{"refilled", "repaired", "purged", "settings-changed",
                                                             "out-of-service", "back-in-service"};
constexpr std::array<std::string_view, 3> sensor_trouble_names{"missing", "out-of-range", "stuck"};

template <typename Enum, std::size_t N>
std::string_view name_in(const std::array<std::string_view, N>& names, Enum value) {
  return names.at(static_cast<std::size_t>(value));
}

template <typename Enum, std::size_t N>
std::optional<Enum> named_in(const std::array<std::string_view, N>& names, std::string_view name) {
  for (std::size_t i = 0; i < N; ++i)
    if (names[i] == name) return static_cast<Enum>(i);
  return std::nullopt;
}

}  // namespace

std::string_view name_of(Outcome value) { return name_in(outcome_names, value); }
std::string_view name_of(Condition value) { return name_in(condition_names, value); }
std::string_view name_of(Cause value) { return name_in(cause_names, value); }
std::string_view name_of(Urgency value) { return name_in(urgency_names, value); }
std::string_view name_of(Change value) { return name_in(change_names, value); }
std::string_view name_of(ServiceKind value) { return name_in(service_kind_names, value); }
std::string_view name_of(SensorTrouble value) { return name_in(sensor_trouble_names, value); }

std::optional<Condition> condition_named(std::string_view name) { return named_in<Condition>(condition_names, name); }
std::optional<Cause> cause_named(std::string_view name) { return named_in<Cause>(cause_names, name); }
std::optional<Urgency> urgency_named(std::string_view name) { return named_in<Urgency>(urgency_names, name); }
std::optional<ServiceKind> service_kind_named(std::string_view name) {
  return named_in<ServiceKind>(service_kind_names, name);
}

}  // namespace driftline
