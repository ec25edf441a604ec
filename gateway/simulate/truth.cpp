#include <cmath>

#include <nlohmann/json.hpp>

#include "gateway/simulate/truth.h"
#include "rules/records/names.h"

namespace driftline::simulate {
namespace {

using Json = nlohmann::ordered_json;

template <typename T>
Json or_null(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}

double rounded(double value, double to) {
  const double per = std::round(1 / to);
  return std::round(value * per) / per;
}

Json turns_of(const StationTruth& station) {
  Json rows = Json::array();
  for (const TurnTruth& t : station.turns) {
    Json reached = t.time_to_pressure_s ? Json(rounded(*t.time_to_pressure_s, 0.001)) : Json(nullptr);
    Json vent = t.vent_s ? Json(rounded(*t.vent_s, 0.001)) : Json(nullptr);
    rows.push_back({t.line, t.start_ms, t.stop_ms, t.outcome, reached, rounded(t.peak_bar, 0.01), rounded(t.residual_bar, 0.01),
                    vent, rounded(t.level_pct, 0.01), rounded(t.temp_c, 0.1), rounded(t.used_cm3, 0.01), t.manual ? 1 : 0, t.seen,
                    t.expected, rounded(t.largest_gap_s, 0.001), t.delivery, t.near_clock_step ? 1 : 0, 0, t.why});
  }
  return {{"columns", {"line", "start_ms", "stop_ms", "outcome", "time_to_pressure_s", "peak_bar", "residual_bar", "vent_s",
                       "level_pct", "temp_c", "used_cm3", "manual", "seen", "expected", "largest_gap_s", "delivery",
                       "near_clock_step", "sensor_dead", "why"}},
          {"rows", rows}};
}

Json fault_of(const FaultTruth& fault) {
  return {{"kind", name_of(fault.plan.kind)},
          {"form", fault.form},
          {"lines", fault.lines},
          {"whole_station", fault.whole_station},
          {"onset_ms", fault.onset_ms},
          {"end_ms", or_null(fault.end_ms)},
          {"gradual", fault.plan.form != Form::sudden},
          {"life_days", fault.plan.form == Form::sudden ? 0.0 : fault.plan.life_days},
          {"severity_at_own_failure", fault.severity_to_fail},
          {"own_failure_ms", or_null(fault.own_failure_ms)},
          {"own_failure_how", fault.own_failure_how.empty() ? Json(nullptr) : Json(fault.own_failure_how)},
          {"visible_ms", or_null(fault.visible_ms)},
          {"harm_ms", or_null(fault.harm_ms)}};
}

Json intervals_of(const std::vector<Interval>& intervals) {
  Json rows = Json::array();
  for (const Interval& i : intervals) rows.push_back({i.from_ms, i.to_ms, i.what});
  return rows;
}

Json station_of(const StationTruth& s, const std::string& recording) {
  Json out = {{"site", s.plan.site},
              {"station", s.plan.name},
              {"role", s.plan.faults.empty() ? "healthy" : std::string(name_of(s.plan.faults.front().kind))},
              {"form", s.faults.empty() ? "" : s.faults.front().form},
              {"file", recording},
              {"from_ms", s.from_ms},
              {"to_ms", s.to_ms},
              {"lines", s.plan.lines.size()},
              {"style", {{"fast_s", s.plan.sender.fast_s}, {"rest_s", s.plan.sender.rest_s}, {"edge", s.plan.sender.edge},
                         {"pump", s.plan.sender.pump}, {"line", s.plan.sender.line ? "active" : "none"},
                         {"level", s.plan.sender.level}, {"temp", s.plan.sender.temp}, {"seq", s.plan.sender.seq},
                         {"quantum_bar", s.plan.sender.quantum_bar}, {"noise_bar", s.plan.sender.noise_bar}}},
              {"sample_interval_s", s.plan.sender.fast_s},
              {"rest_interval_s", s.plan.sender.rest_s},
              {"samples", s.samples},
              {"settings", {{"cycle_s", s.plan.cycle_s}, {"pump_limit_s", s.plan.pump_limit_s}, {"target_bar", s.plan.target_bar},
                            {"residual_bar", s.plan.residual_bar}}},
              {"half_cycles", turns_of(s)}};
  Json faults = Json::array();
  for (const FaultTruth& fault : s.faults) faults.push_back(fault_of(fault));
  out["faults"] = faults;
  Json failures = Json::array();
  for (std::size_t i = 0; i < s.own_failures.size() && i < 20; ++i) failures.push_back({s.own_failures[i].from_ms, s.own_failures[i].what});
  out["own_failures"] = failures;
  out["own_failure_count"] = s.own_failures.size();
  Json refills = Json::array();
  for (const RefillTruth& r : s.refills)
    refills.push_back({{"start_ms", r.start_ms}, {"end_ms", r.end_ms}, {"from_pct", rounded(r.from_pct, 0.01)}, {"to_pct", rounded(r.to_pct, 0.01)}, {"told", r.told}});
  out["refills"] = refills;
  Json days = Json::array();
  for (const DayTruth& d : s.days)
    days.push_back({d.date, rounded(d.level_pct, 0.01), rounded(d.use_pct, 0.001), rounded(d.life_days, 0.001), d.life_known ? 1 : 0});
  out["days"] = {{"columns", {"date", "level_pct", "use_pct", "life_days", "life_known"}}, {"rows", days}};
  out["power_cuts"] = intervals_of(s.power_cuts);
  out["link_outages"] = intervals_of(s.link_outages);
  out["clock_steps"] = intervals_of(s.clock_steps);
  out["settings_changes"] = intervals_of(s.settings_changes);
  out["repairs"] = intervals_of(s.repairs);
  Json explained = Json::array();
  for (const Explained& e : s.explained)
    explained.push_back({{"from_ms", e.from_ms}, {"to_ms", e.to_ms}, {"conditions", e.conditions}, {"why", e.why}});
  out["explained"] = explained;
  return out;
}

}  // namespace

std::string truth_text(const PlantPlan& plan, const std::vector<StationTruth>& stations, const std::string& recording,
                       std::uint64_t messages) {
  Json out = {{"format", "station-truth/1"}, {"suite", "driftline"}, {"seed", plan.seed}, {"messages", messages}};
  Json all = Json::array();
  Json malformed = Json::array();
  for (const StationTruth& station : stations) {
    all.push_back(station_of(station, recording));
    for (const MalformedTruth& m : station.malformed)
      malformed.push_back({{"received_ms", m.received_ms}, {"topic", m.topic}, {"what", m.what}, {"class", m.reported}});
  }
  out["stations"] = all;
  out["malformed"] = malformed;
  return out.dump(-1, ' ', true);
}

}  // namespace driftline::simulate
