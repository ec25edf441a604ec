// A reservoir as it is, beside what its sensor says: for the tests of rules/reservoir.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "rules/records/time_text.h"
#include "rules/reservoir/reservoir.h"

namespace driftline::rules::reservoir::test {

struct Plant {
  // As built.
  double turn_s = 5400;         // between turns; lines take turns
  int lines = 2;
  double charges_cm3 = 40;      // a turn, by the design
  double reservoir_kg = 8;
  double use_factor = 1;        // as used against the design
  double leak_pct_a_day = 0;
  // The sensor.
  bool sensor = true;
  bool low_switch = false;
  double quantum = 1, noise = 0.3, stick = 1.5, by_temperature = 0.01;
  double reading_s = 600;
  bool design_known = true;
  bool turns_come = true;
  bool turns_told_late = false;  // a turn is told when the next begins
  unsigned seed = 1;

  // As it is.
  double level = 90;
  double held = 90;
  std::optional<double> stuck_at{};
  Time now = time_from_ms(1'772'323'200'000);  // 2026-03-01T00:00Z
  std::mt19937 random{seed};
  int turn_number = 0;
  std::optional<HalfCycle> untold{};
  State state{};
  std::vector<Output> said{};
  Thresholds thresholds{};
  StationId id{"plant", "st"};
  std::map<std::string, double> level_at_end{}, used_on{};  // by date

  [[nodiscard]] StationDesign design() const {
    StationDesign d;
    d.low_pct = 12;
    d.empty_pct = 3;
    d.settings.lines = lines;
    if (design_known) {
      d.reservoir_kg = reservoir_kg;
      d.grease_density_kg_l = 0.9;
      d.settings.cycle_s = turn_s * lines;
      d.lines.assign(static_cast<std::size_t>(lines), LineDesign{.length_m = {}, .bore_mm = {}, .devices = {}, .charges_cm3 = charges_cm3});
    }
    return d;
  }
  [[nodiscard]] double a_turn_pct() const { return charges_cm3 * 0.9 / (10 * reservoir_kg) * use_factor; }
  [[nodiscard]] double a_day_pct() const { return a_turn_pct() * 86400 / turn_s + leak_pct_a_day; }
  [[nodiscard]] double life_days() const { return std::max(0.0, level - 3) / a_day_pct(); }

  double normal() {
    // Box-Muller on the generator's own numbers: the same on every library.
    const double u = (static_cast<double>(random()) + 1) / 4294967297.0, v = static_cast<double>(random()) / 4294967296.0;
    return std::sqrt(-2 * std::log(u)) * std::cos(2 * std::numbers::pi * v);
  }
  void follow() {
    if (std::abs(level - held) >= stick) held = level;
  }
  [[nodiscard]] double temperature() const {
    const double day = days_between(time_from_ms(0), now);
    return 10 + 8 * std::sin(2 * std::numbers::pi * day / 60) + 6 * std::sin(2 * std::numbers::pi * day);
  }
  void read() {
    const StationDesign d = design();
    const Context context{id, d, thresholds};
    LevelReading r;
    r.time = now;
    if (sensor) {
      const double raw = held + noise * normal() + by_temperature * (temperature() - 20);
      r.level_pct = stuck_at ? *stuck_at : std::clamp(quantum * std::round(raw / quantum), 0.0, 100.0);
    }
    if (low_switch) r.level_low = level <= 12;
    if (sensor || low_switch) take(state, r, now, context, said);
  }
  void turn(Outcome outcome = Outcome::reached) {
    const StationDesign d = design();
    const Context context{id, d, thresholds};
    HalfCycle h;
    h.line = turn_number++ % lines + 1;
    h.pump_start = now;
    h.pump_stop = later_by_s(now, 60);
    h.outcome = outcome;
    h.time_to_pressure_s = 60;
    h.arrival = Arrival::live;
    level = std::max(0.0, level - a_turn_pct());
    used_on[rfc3339_date(now)] += a_turn_pct();
    if (turns_told_late) {
      if (untold) take(state, *untold, now, context, said);
      untold = h;
    } else {
      take(state, h, later_by_s(h.pump_stop, 30), context, said);
    }
  }
  void run(double days) {
    const Time end = later_by_days(now, days);
    const StationDesign d = design();
    const Context context{id, d, thresholds};
    Time next_turn = later_by_s(now, turn_s / 2), next_reading = later_by_s(now, 5);
    while (now < end) {
      now = std::min(next_turn, next_reading);
      level = std::max(0.0, level - leak_pct_a_day * std::min(turn_s, reading_s) / 86400 * (next_reading < next_turn ? 1 : 0) * reading_s / std::min(turn_s, reading_s));
      follow();
      advance_to(state, now, context, said);
      level_at_end[rfc3339_date(now)] = level;
      if (next_turn <= next_reading) {
        if (turns_come) turn();
        next_turn = later_by_s(next_turn, turn_s);
        if (next_reading <= later_by_s(now, 60)) next_reading = later_by_s(now, 90);
      } else {
        read();
        next_reading = later_by_s(next_reading, reading_s);
      }
      level_at_end[rfc3339_date(now)] = level;
    }
  }
  void refill(double to, bool told) {
    const StationDesign d = design();
    const Context context{id, d, thresholds};
    for (double step = level; step < to; step += 5) {
      level = step;
      follow();
    }
    level = to;
    follow();
    now = later_by_s(now, 600);
    if (told) take(state, ServiceNote{.time = now, .kind = ServiceKind::refilled, .line = {}, .note = ""}, now, context, said);
  }
  void note(ServiceKind kind) {
    const StationDesign d = design();
    take(state, ServiceNote{.time = now, .kind = kind, .line = {}, .note = ""}, now, Context{id, d, thresholds}, said);
  }
  [[nodiscard]] Life life() const {
    const StationDesign d = design();
    return life_at(state, now, Context{id, d, thresholds});
  }
  // Findings of a condition that say it holds, in order; the first of each run of them.
  [[nodiscard]] std::vector<Finding> raised(Condition condition) const {
    std::vector<Finding> found;
    bool on = false;
    for (const Output& output : said)
      if (const auto* f = std::get_if<Finding>(&output); f && f->condition == condition) {
        if (f->holds && !on) found.push_back(*f);
        on = f->holds;
      }
    return found;
  }
  [[nodiscard]] bool holds(Condition condition) const {
    bool on = false;
    for (const Output& output : said)
      if (const auto* f = std::get_if<Finding>(&output); f && f->condition == condition) on = f->holds;
    return on;
  }
  [[nodiscard]] std::vector<ReservoirDay> days() const {
    std::vector<ReservoirDay> rows;
    for (const Output& output : said)
      if (const auto* d = std::get_if<ReservoirDay>(&output)) rows.push_back(*d);
    return rows;
  }
};

}  // namespace driftline::rules::reservoir::test
