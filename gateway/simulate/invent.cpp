#include "gateway/simulate/invent.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "gateway/simulate/machine.h"
#include "gateway/simulate/rng.h"
#include "gateway/simulate/weather.h"

namespace driftline::simulate {
namespace {

constexpr std::array sites{"fernhollow-mill", "tarnmoor-works", "quillrock-quay", "brindlefen-yard"};
constexpr std::array machines{"press", "crusher", "conveyor", "kiln", "dredge", "ladle", "shear", "gantry"};
constexpr double cold_reserve_c = 14;  // a sound station copes with this much under its season

template <typename T, std::size_t n>
T one_of(Rng& rng, const T (&values)[n]) {
  return values[rng.next() % n];
}

Climate draw_climate(Rng& rng, double days, bool strong) {
  Climate climate;
  climate.mean_c = rng.between(3, 16);
  climate.trend_c_day = rng.between(-0.08, 0.08);
  climate.day_swing_c = rng.between(2, 6);
  climate.front_c = rng.between(1.5, 3.5);
  climate.front_days = rng.between(1.5, 4);
  if (strong && days >= 30)
    climate.cold_spells.push_back({rng.between(0.45, 0.8) * days, rng.between(2, 5), rng.between(12, 22)});
  return climate;
}

SenderPlan draw_sender(Rng& rng, bool clean) {
  SenderPlan with;
  with.fast_s = clean ? one_of(rng, {2.0, 2.0, 3.0}) : one_of(rng, {1.0, 2.0, 3.0, 3.0, 5.0});
  with.rest_s = one_of(rng, {120.0, 300.0, 600.0});
  with.tail_s = one_of(rng, {45.0, 90.0});
  with.edge = rng.chance(0.3);
  with.pump = clean || rng.chance(0.8);
  with.line = clean || rng.chance(0.85);
  with.level = clean || rng.chance(0.9);
  with.low_switch = !with.level || rng.chance(0.7);
  with.temp = clean || rng.chance(0.85);
  with.seq = rng.chance(0.7);
  with.time_as_ms = rng.chance(0.25);
  with.utc_offset_min = one_of(rng, {0, 0, 60, 120, -300, 330});
  with.quantum_bar = one_of(rng, {0.1, 0.1, 0.25, 0.5});
  with.noise_bar = rng.between(0.1, 0.35);
  with.level_quantum_pct = one_of(rng, {0.5, 1.0});
  with.level_noise_pct = rng.between(0.15, 0.45);
  with.temp_bias_c = 1.2 * rng.normal();
  with.latency_s = rng.between(0.05, 0.4);
  with.malformed_per_day = clean ? 0 : 0.03;
  if (clean) {
    with.drop = 0;
    with.duplicate = 0;
    with.late = 0;
  }
  return with;
}

// Sizes that a designer would have chosen for this machine and climate: they work with a reserve of cold.
void draw_sizes(StationPlan& s, Rng& rng, const Climate& climate, double days) {
  const int lines = one_of(rng, {1, 2, 2, 2, 2, 3});
  s.delivery_cm3_min = rng.between(35, 110);
  s.grease.yield_20c_pa = rng.between(60, 220);
  s.grease.consistency_20c_pa_s_n = s.grease.yield_20c_pa * rng.between(0.15, 0.3);
  s.grease.oil =
      one_of(rng, {hydraulics::BaseOil{150, 15}, hydraulics::BaseOil{220, 19}, hydraulics::BaseOil{100, 11}});
  s.vent_constant_s = rng.between(4, 12);
  const double bore = one_of(rng, {8.0, 10.0, 12.0, 16.0});
  const double sensor_at = rng.chance(0.3) ? 1.0 : rng.between(0.02, 0.12);
  for (int i = 0; i < lines; ++i) {
    LinePlan line;
    line.length_m = rng.between(8, 30);
    line.bore_mm = bore;
    line.devices = rng.whole(12, 48);
    line.charges_cm3 = s.delivery_cm3_min / 60 * rng.between(35, 95);
    line.expansion_cm3_per_m_per_bar = rng.between(0.001, 0.006) * bore / 10;
    line.free_air_cm3 = rng.between(0.5, 3);
    line.opening_bar = rng.between(50, 72);
    line.opening_spread_bar = rng.between(2, 6);
    line.sensor_at = sensor_at;
    s.lines.push_back(line);
  }
  const double coldest =
      std::min(climate.mean_c, climate.mean_c + climate.trend_c_day * days) - cold_reserve_c;
  for (int attempt = 0; attempt < 12; ++attempt) {
    const Machine machine(s);
    double held = 0, drop = 0;
    for (int i = 0; i < lines; ++i) {
      held = std::max(held, machine.vent(i, coldest, Wear{}, 0).floor_bar);
      drop = std::max(drop, machine.turn(i, coldest, Wear{}, 0, 0).drop_bar);
    }
    if (held < 15 && drop < 55) break;
    for (LinePlan& line : s.lines) line.length_m *= 0.8;
  }
  const Machine machine(s);
  double held = 0, drop = 0, opening = 0;
  for (int i = 0; i < lines; ++i) {
    held = std::max(held, machine.vent(i, coldest, Wear{}, 0).floor_bar);
    drop = std::max(drop, machine.turn(i, coldest, Wear{}, 0, 0).drop_bar);
    for (const Device& device : machine.devices(i)) opening = std::max(opening, device.opening_bar);
  }
  const double needed = opening + drop + 25;
  s.target_bar =
      std::max(std::ceil(needed / 10) * 10, static_cast<double>(one_of(rng, {140, 160, 180, 200})));
  s.residual_bar =
      std::max(static_cast<double>(one_of(rng, {8, 10, 15, 25})), std::ceil((held * 1.4 + 3) / 5) * 5);
  s.relief_bar = s.target_bar * rng.between(1.25, 1.4) + (sensor_at > 0.5 ? drop : 0);
  s.cycle_s = one_of(rng, {3600.0, 5400.0, 7200.0, 10800.0, 14400.0});
  s.pump_limit_s = 1e4;
  double slowest = 0;
  std::vector<TurnPoint> curve;
  for (int i = 0; i < lines; ++i)
    slowest = std::max(slowest, run_turn(Machine(s).turn(i, coldest, Wear{}, 0, 0), curve).to_pressure_s);
  s.pump_limit_s = std::ceil(slowest * rng.between(1.25, 1.8) / 30) * 30;
  s.cycle_s = std::max(s.cycle_s, std::ceil((s.pump_limit_s + 420) * lines / 600) * 600);
  double charges = 0;
  for (const LinePlan& line : s.lines) charges += line.charges_cm3;
  const double kg_day = charges * 86400 / s.cycle_s * s.density_kg_l / 1000;
  s.reservoir_kg = std::clamp(std::ceil(kg_day * rng.between(12, 45)), 4.0, 400.0);
}

void draw_people_and_troubles(StationPlan& s, Rng& rng, double days, bool clean) {
  s.start_level_pct = rng.between(45, 92);
  s.low_pct = std::round(rng.between(8, 15));
  s.empty_pct = std::round(rng.between(2, 4));
  s.people.refill_under_pct = rng.between(s.low_pct + 1, 30);
  s.people.refill_told = rng.between(0, 0.8);
  s.people.manual_starts_per_day = clean ? 0 : rng.between(0, 0.05);
  if (clean) return;
  const auto often = [&](double mean) { return static_cast<int>(rng.exponential(mean)); };
  for (int i = often(1.5 * days / 90); i > 0; --i)
    s.outages.push_back({rng.between(1, days), rng.between(0.3, 8),
                         one_of(rng, {OutageKind::batched, OutageKind::lost, OutageKind::backfilled})});
  for (int i = often(1.2 * days / 90); i > 0; --i)
    s.power_cuts.push_back(
        {rng.between(1, days), rng.chance(0.6) ? rng.between(0.008, 0.02) : rng.between(0.3, 7)});
  if (rng.chance(0.1)) s.clock_steps.push_back({rng.between(2, days), rng.between(-60, 60)});
  // Overlaps would make a broken link within a broken link.
  std::ranges::sort(s.outages, {}, &Outage::from_day);
  std::vector<Outage> apart;
  for (const Outage& o : s.outages)
    if (apart.empty() || o.from_day > apart.back().from_day + 0.5) apart.push_back(o);
  s.outages = apart;
  std::ranges::sort(s.power_cuts, {}, &PowerCut::from_day);
  std::vector<PowerCut> cuts;
  for (const PowerCut& c : s.power_cuts)
    if (cuts.empty() || c.from_day > cuts.back().from_day + 0.5) cuts.push_back(c);
  s.power_cuts = cuts;
}

StationPlan draw_station(const PlantPlan& plant, const SitePlan& site, int number, bool clean) {
  StationPlan s;
  s.site = site.name;
  s.seed = seed_for(plant.seed, "station " + std::to_string(number));
  Rng rng(s.seed);
  const auto of_kind = static_cast<std::size_t>(number) % machines.size();
  s.name = std::string(machines[of_kind]) + (number + 1 < 10 ? "-0" : "-") + std::to_string(number + 1);
  draw_sizes(s, rng, site.climate, plant.days);
  s.sender = draw_sender(rng, clean);
  draw_people_and_troubles(s, rng, plant.days, clean);
  return s;
}

// What a visitor sees: early enough to be followed, late enough that good turns came first.
void demo_faults(PlantPlan& plant) {
  struct Shown {
    std::size_t station;
    Cause kind;
    Form form;
    double onset, life;  // shares of the plan's days
  };
  static constexpr Shown shown[] = {{1, Cause::slow_leak, Form::linear, 0.40, 0.50},
                                    {4, Cause::pump_worn, Form::linear, 0.35, 0.65},
                                    {7, Cause::vent_restricted, Form::accelerating, 0.35, 0.60},
                                    {9, Cause::reservoir_leak, Form::sudden, 0.60, 0.30},
                                    {10, Cause::level_sensor_stuck, Form::sudden, 0.70, 0.30}};
  for (const Shown& s : shown) {
    if (s.station >= plant.stations.size()) continue;
    FaultPlan fault = draw_fault(s.kind, s.form, plant.stations[s.station], plant.days);
    fault.onset_day = s.onset * plant.days;
    fault.life_days = s.life * plant.days;
    fault.repaired_day = 0;
    plant.stations[s.station].faults = {fault};
  }
}

// A pump that starves in the cold, with a limit that leaves too little for the site's spell: the turn fails,
// or nearly, at its bottom.
void tender_to_cold(StationPlan& s, Climate& climate, Rng& rng, double days) {
  if (climate.cold_spells.empty())
    climate.cold_spells.push_back({rng.between(0.45, 0.8) * days, rng.between(2, 5), rng.between(14, 22)});
  const ColdSpell& spell = climate.cold_spells.front();
  const double usual_c = climate.mean_c + climate.trend_c_day * spell.from_day + 2;
  s.suction_loss = rng.between(0.3, 0.6);
  std::vector<TurnPoint> curve;
  double slowest = 0;
  for (int i = 0; i < static_cast<int>(s.lines.size()); ++i)
    slowest = std::max(
        slowest,
        run_turn(Machine(s).turn(i, usual_c - rng.between(0.75, 1.0) * spell.depth_c, Wear{}, 0, 0), curve)
            .to_pressure_s);
  s.pump_limit_s = std::ceil(slowest / 5) * 5;
}

void season_faults(PlantPlan& plant) {
  for (std::size_t i = 0; i < plant.stations.size(); ++i) {
    StationPlan& s = plant.stations[i];
    Rng rng(seed_for(s.seed, "fault"));
    const std::size_t turn = i + plant.seed * 7;
    if (turn % 5 == 4) {
      if (rng.chance(0.4))
        s.settings_steps.push_back({rng.between(0.3, 0.7) * plant.days, rng.between(1.03, 1.08), 1});
      continue;
    }
    const auto kind = static_cast<Cause>(turn % cause_count);
    if (kind == Cause::stiff_grease) {
      const auto site = std::ranges::find(plant.sites, s.site, &SitePlan::name);
      if (site != plant.sites.end() && plant.days >= 30) tender_to_cold(s, site->climate, rng, plant.days);
      continue;
    }
    s.faults = {
        draw_fault(kind, one_of(rng, {Form::linear, Form::accelerating, Form::sudden}), s, plant.days)};
  }
}

}  // namespace

FaultPlan draw_fault(Cause kind, Form form, const StationPlan& station, double days) {
  Rng rng(seed_for(station.seed, "draw fault"));
  FaultPlan fault;
  fault.kind = kind;
  fault.form = form;
  fault.line = rng.whole(1, static_cast<int>(station.lines.size()));
  fault.onset_day = rng.between(0.3, 0.55) * days;
  fault.life_days = std::max(1.0, rng.between(0.12, 0.4) * days);
  if (rng.chance(0.4)) fault.repaired_day = fault.onset_day + fault.life_days * rng.between(0.9, 1.25);
  switch (kind) {
    case Cause::line_broken:
    case Cause::air_in_line:
    case Cause::level_sensor_stuck:
    case Cause::settings_changed:
      fault.form = Form::sudden;
      break;
    case Cause::outside_pressure:
      fault.form = Form::sudden;
      fault.life_days = rng.between(2, 10);
      fault.repaired_day = 0;
      break;
    case Cause::power_lost:
    case Cause::link_lost:
      fault.form = Form::sudden;
      fault.life_days = rng.between(0.5, 2.5);
      fault.repaired_day = 0;
      break;
    case Cause::slow_leak:
    case Cause::stiff_grease:
    case Cause::pump_worn:
    case Cause::relief_leaking:
    case Cause::changeover_leaking:
    case Cause::metering_stuck:
    case Cause::line_restricted:
    case Cause::vent_restricted:
    case Cause::reservoir_leak:
    case Cause::pressure_sensor_drift:
      break;
  }
  return fault;
}

PlantPlan invent_plant(const Wishes& wishes) {
  PlantPlan plant;
  plant.seed = wishes.seed;
  plant.from = wishes.from;
  plant.days = wishes.days;
  Rng rng(seed_for(wishes.seed, "plant"));
  const auto site_count =
      std::clamp<std::size_t>(static_cast<std::size_t>(wishes.stations) / 4, 1, sites.size());
  for (std::size_t i = 0; i < site_count; ++i)
    plant.sites.push_back(
        {sites[i],
         draw_climate(rng, wishes.days, wishes.scene != Scene::demo && (i + wishes.seed) % 2 == 0)});
  for (int i = 0; i < wishes.stations; ++i)
    plant.stations.push_back(draw_station(plant, plant.sites[static_cast<std::size_t>(i) % site_count], i,
                                          wishes.scene == Scene::demo));
  if (wishes.scene == Scene::demo) demo_faults(plant);
  if (wishes.scene == Scene::season) season_faults(plant);
  return plant;
}

}  // namespace driftline::simulate
