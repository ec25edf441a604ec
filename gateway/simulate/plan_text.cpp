#include "gateway/simulate/plan_text.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <nlohmann/json.hpp>

#include "gateway/simulate/rng.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline {

void to_json(nlohmann::json& json, Cause cause) { json = name_of(cause); }
void from_json(const nlohmann::json& json, Cause& cause) {
  const auto named = cause_named(json.get<std::string>());
  if (!named) throw std::invalid_argument("\"" + json.get<std::string>() + "\" is no cause");
  cause = *named;
}

namespace hydraulics {
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(BaseOil, at_40_mm2_s, at_100_mm2_s)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(Grease, oil, yield_20c_pa, consistency_20c_pa_s_n, exponent, yield_power, consistency_power)
}  // namespace hydraulics

namespace simulate {

NLOHMANN_JSON_SERIALIZE_ENUM(Form, {{Form::sudden, "sudden"}, {Form::linear, "linear"}, {Form::accelerating, "accelerating"}})
NLOHMANN_JSON_SERIALIZE_ENUM(OutageKind, {{OutageKind::batched, "batched"}, {OutageKind::lost, "lost"}, {OutageKind::backfilled, "backfilled"}})
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(ColdSpell, from_day, days, depth_c)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(Climate, mean_c, trend_c_day, day_swing_c, front_c, front_days, cold_spells)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(SitePlan, name, climate)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(FaultPlan, kind, form, line, onset_day, life_days, severity, repaired_day, told)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(LinePlan, length_m, bore_mm, devices, charges_cm3, expansion_cm3_per_m_per_bar, free_air_cm3,
                                                opening_bar, opening_spread_bar, sensor_at)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(SenderPlan, fast_s, rest_s, tail_s, edge, pump, line, level, low_switch, temp, seq, time_as_ms,
                                                utc_offset_min, quantum_bar, noise_bar, level_quantum_pct, level_noise_pct, temp_bias_c, batch_s,
                                                latency_s, drop, duplicate, late, late_s, announce, presence, malformed_per_day)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(Outage, from_day, hours, kind)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(PowerCut, from_day, hours)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(ClockStep, at_day, step_s)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(SettingsStep, at_day, target_factor, cycle_factor)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(PeoplePlan, refill_under_pct, refill_told, manual_starts_per_day, commissioning_days)
NLOHMANN_DEFINE_TYPE_NON_INTRUSIVE_WITH_DEFAULT(StationPlan, site, name, seed, lines, cycle_s, pump_limit_s, target_bar, residual_bar, delivery_cm3_min,
                                                reservoir_kg, density_kg_l, low_pct, empty_pct, start_level_pct, relief_bar, vent_constant_s,
                                                suction_loss, grease, sender, people, outages, power_cuts, clock_steps, settings_steps, faults)

namespace {

using Json = nlohmann::ordered_json;

void check(bool holds, const std::string& what) {
  if (!holds) throw std::invalid_argument(what);
}

void check_plan(const PlantPlan& plan) {
  check(plan.days > 0 && plan.days <= 3660, "\"days\" lies between 0 and 3660");
  check(!plan.stations.empty(), "\"stations\" is empty");
  for (const StationPlan& s : plan.stations) {
    const std::string who = "station \"" + s.name + "\": ";
    check(std::ranges::any_of(plan.sites, [&](const SitePlan& site) { return site.name == s.site; }), who + "its site is not in \"sites\"");
    check(!s.lines.empty() && s.lines.size() <= 8, who + "1 to 8 \"lines\"");
    check(s.cycle_s >= 60 && s.pump_limit_s > 1 && s.target_bar > 1 && s.delivery_cm3_min > 0 && s.reservoir_kg > 0, who + "settings must be above 0");
    check(s.sender.fast_s >= 0.02 && s.sender.rest_s >= 0.02, who + "samples at most 50 a second");
    check(s.sender.quantum_bar > 0 && s.sender.level_quantum_pct > 0, who + "a quantum is above 0");
    for (const LinePlan& line : s.lines)
      check(line.length_m > 0 && line.bore_mm > 0 && line.devices > 0 && line.devices <= 500 && line.charges_cm3 > 0, who + "lines have a length, a bore, devices and charges");
    for (const FaultPlan& fault : s.faults) check(fault.line >= 1 && fault.line <= static_cast<int>(s.lines.size()), who + "a fault names a line that is not there");
  }
}

}  // namespace

std::optional<Form> form_named(std::string_view name) {
  if (name == "sudden") return Form::sudden;
  if (name == "linear") return Form::linear;
  if (name == "accelerating") return Form::accelerating;
  return std::nullopt;
}

tl::expected<PlantPlan, std::string> read_plan(std::string_view text) {
  try {
    const nlohmann::json json = nlohmann::json::parse(text);
    PlantPlan plan;
    plan.topic_root = json.value("topic_root", plan.topic_root);
    plan.seed = json.value("seed", plan.seed);
    plan.days = json.value("days", plan.days);
    const auto from = parse_rfc3339(json.value("from", std::string("2026-01-05T00:00:00Z")));
    check(from.has_value(), "\"from\" is no RFC 3339 time");
    plan.from = *from;
    json.at("sites").get_to(plan.sites);
    json.at("stations").get_to(plan.stations);
    check_plan(plan);
    return plan;
  } catch (const std::exception& why) {
    return tl::unexpected(std::string(why.what()));
  }
}

std::string plan_text(const PlantPlan& plan) {
  const nlohmann::json json = {{"topic_root", plan.topic_root}, {"seed", plan.seed}, {"from", rfc3339(plan.from)}, {"days", plan.days}, {"sites", plan.sites}, {"stations", plan.stations}};
  return json.dump(1) + "\n";
}

std::string plant_file_text(const PlantPlan& plan) {
  Json stations = Json::array();
  for (const StationPlan& s : plan.stations) {
    Rng rng(seed_for(s.seed, "as-designed"));  // papers differ from what was built
    const auto about = [&](double value, double share, double to) { return std::round(value * (1 + share * rng.normal()) / to) * to; };
    Json lengths = Json::array(), devices = Json::array(), charges = Json::array();
    for (const LinePlan& line : s.lines) {
      lengths.push_back(about(line.length_m, 0.05, 0.5));
      devices.push_back(line.devices);
      charges.push_back(std::round(line.charges_cm3 * 10) / 10);
    }
    stations.push_back({{"site", s.site}, {"station", s.name}, {"lines", s.lines.size()}, {"target_bar", s.target_bar},
                        {"pump_limit_s", s.pump_limit_s}, {"cycle_s", s.cycle_s}, {"residual_bar", s.residual_bar},
                        {"displacement_cm3_min", about(s.delivery_cm3_min, 0.02, 0.1)}, {"reservoir_kg", s.reservoir_kg},
                        {"low_pct", s.low_pct}, {"empty_pct", s.empty_pct}, {"level_sensor", s.sender.level},
                        {"low_level_switch", s.sender.low_switch},
                        {"design", {{"grease_density_kg_l", s.density_kg_l}, {"bore_mm", s.lines.front().bore_mm},
                                    {"length_m", lengths}, {"devices", devices}, {"charges_cm3", charges}}}});
  }
  const Json json = {{"topic_root", plan.topic_root}, {"stations", stations}};
  return json.dump(1) + "\n";
}

}  // namespace simulate
}  // namespace driftline
