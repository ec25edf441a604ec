// What an engineer's thresholds do in the judgement: quiet periods, limits of the plant, days of lead, shifts in a figure's own unit.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "rules/conditions/quiet.h"
#include "rules/judgement/figures.h"
#include "rules/judgement/station_rules.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {
namespace {

constexpr std::int64_t start_ms = 1772323200000;  // 2026-03-01T00:00:00Z, a Sunday
constexpr std::int64_t half_cycle_ms = 3600000;
constexpr std::int64_t start_s = start_ms / 1000;
constexpr std::int64_t day_s = 86400;

double breath(int i, double size) { return size * std::sin(i * 12.9898) * std::cos(i * 4.1414); }

// Two lines in good order, and what is found of them.
struct Station {
  StationContext context;
  StationState state;
  std::vector<Finding> raised;
  std::vector<Finding> told;
  int turn = 0;

  Station() {
    context.id = {"northyard", "ps-01"};
    context.design.settings = {.cycle_s = 7200, .pump_limit_s = 300, .target_bar = 180, .residual_bar = 10, .lines = 2};
  }
  ConditionThresholds& of(Condition condition) { return context.thresholds.conditions[static_cast<std::size_t>(condition)]; }
  [[nodiscard]] static Time at_days(double days) { return later_by_days(time_from_ms(start_ms), days); }

  void keep(const std::vector<Judgement>& judgements) {
    for (const Judgement& j : judgements)
      if (const auto* f = std::get_if<Finding>(&j)) {
        const bool open = std::any_of(told.begin(), told.end(), [&](const Finding& o) { return o.condition == f->condition && o.line == f->line; });
        if (f->holds && !open) raised.push_back(*f);
        std::erase_if(told, [&](const Finding& o) { return o.condition == f->condition && o.line == f->line; });
        if (f->holds) told.push_back(*f);
      }
  }
  void run(int turns, const std::function<void(HalfCycle&)>& alter = [](HalfCycle&) {}) {
    for (int i = 0; i < turns; ++i, ++turn) {
      HalfCycle h;
      h.line = turn % 2 + 1;
      h.pump_start = time_from_ms(start_ms + turn * half_cycle_ms);
      h.outcome = Outcome::reached;
      h.time_to_pressure_s = 150 * (1 + breath(turn, 0.01));
      h.peak_bar = 182 + breath(turn + 7, 0.4);
      h.residual_bar = 1.5 + breath(turn + 3, 0.3);
      h.vent_s = 60 * (1 + breath(turn + 5, 0.03));
      h.temp_c = 12;
      h.settings = context.design.settings;
      alter(h);
      h.pump_stop = later_by_s(h.pump_start, h.time_to_pressure_s.value_or(300));
      h.pump_run_s = seconds_between(h.pump_start, h.pump_stop);
      std::vector<Judgement> out;
      std::optional<TurnFigures> figures;
      judge(state, h, h.pump_stop, context, out, figures);
      judge(state, Heartbeat{.received = h.pump_stop, .time = h.pump_stop}, h.pump_stop, context, out, figures);
      keep(out);
    }
  }
  void wait_until(Time time) {
    std::vector<Judgement> out;
    while (const auto wake = wake_at(state)) {
      if (*wake > time) break;
      advance_to(state, *wake, context, out);
    }
    advance_to(state, time, context, out);
    keep(out);
  }
  [[nodiscard]] const Finding* first(Condition condition) const {
    const auto found = std::find_if(raised.begin(), raised.end(), [&](const Finding& f) { return f.condition == condition; });
    return found == raised.end() ? nullptr : &*found;
  }
};

void slower(HalfCycle& h) { h.time_to_pressure_s = *h.time_to_pressure_s * (h.line == 1 ? 1.15 : 1); }

// If this fails a planned stop calls people, or a night's quiet runs on into the day.
TEST(Quiet, a_period_ends_where_it_was_said_to) {
  const QuietPeriod night{QuietPeriod::Every::day, 22 * 3600, 5 * 3600 + 1800};
  EXPECT_EQ(quiet_until({night}, Station::at_days(10 + 23.0 / 24)), Station::at_days(11 + 5.5 / 24));
  EXPECT_EQ(quiet_until({night}, Station::at_days(11 + 5.0 / 24)), Station::at_days(11 + 5.5 / 24));
  EXPECT_FALSE(quiet_until({night}, Station::at_days(11 + 5.5 / 24))) << "the end is not in it";
  EXPECT_FALSE(quiet_until({night}, Station::at_days(11 + 12.0 / 24)));
  const QuietPeriod weekend{QuietPeriod::Every::week, 5 * day_s + 14 * 3600, 5 * 3600};  // Sat 14:00 to Mon 05:00
  EXPECT_EQ(quiet_until({weekend}, Station::at_days(0.5)), Station::at_days(1 + 5.0 / 24)) << "1 March 2026 was a Sunday";
  EXPECT_FALSE(quiet_until({weekend}, Station::at_days(2)));
  const QuietPeriod stop{QuietPeriod::Every::once, start_s, start_s + 3 * day_s};
  EXPECT_EQ(quiet_until({stop}, Station::at_days(0)), Station::at_days(3));
  EXPECT_FALSE(quiet_until({stop}, Station::at_days(-0.001)));
  const QuietPeriod after{QuietPeriod::Every::once, start_s + 3 * day_s, start_s + 4 * day_s};
  EXPECT_EQ(quiet_until({after, stop}, Station::at_days(1)), Station::at_days(4)) << "they meet";
  const QuietPeriod always{QuietPeriod::Every::day, 0, 43200}, and_always{QuietPeriod::Every::day, 43200, 0};
  EXPECT_EQ(quiet_until({always, and_always}, Station::at_days(1)), Station::at_days(8)) << "it must come to an end";
}

// If this fails what began in a quiet period is raised in it, or never.
TEST(Thresholds, a_drift_that_begins_in_a_quiet_period_is_raised_when_it_ends) {
  Station loud;
  loud.run(200);
  loud.run(100, slower);
  ASSERT_NE(loud.first(Condition::slow_to_pressure), nullptr);
  EXPECT_LT(loud.first(Condition::slow_to_pressure)->time, Station::at_days(200.0 / 24 + 1));

  Station quiet;
  quiet.of(Condition::slow_to_pressure).quiet = QuietPeriods{{QuietPeriod::Every::once, start_s + 8 * day_s, start_s + 11 * day_s}};
  quiet.run(200);
  quiet.run(100, slower);
  const Finding* found = quiet.first(Condition::slow_to_pressure);
  ASSERT_NE(found, nullptr);
  EXPECT_GE(found->time, Station::at_days(11));
  EXPECT_LT(found->time, Station::at_days(11.2));
  EXPECT_FALSE(found->causes.empty());
  EXPECT_EQ(quiet.first(Condition::quick_to_pressure), nullptr);
}

// If this fails a weekend without production calls somebody for silence, or silence after it is told late.
TEST(Thresholds, silence_in_a_quiet_period_is_told_at_its_end_and_teaches_nothing) {
  Station station;
  station.context.thresholds.quiet = {{QuietPeriod::Every::once, start_s + 8 * day_s, start_s + 11 * day_s}};
  station.run(24 * 8);
  const float habit = station.state.hearing.habit_s;
  station.wait_until(Station::at_days(10.9));
  EXPECT_EQ(station.first(Condition::station_silent), nullptr);
  Station back = station;
  station.wait_until(Station::at_days(11.1));
  ASSERT_NE(station.first(Condition::station_silent), nullptr);
  EXPECT_NEAR(seconds_between(Station::at_days(11), station.first(Condition::station_silent)->time), 0, 1);

  back.turn += 68;
  back.run(30);
  EXPECT_EQ(back.first(Condition::station_silent), nullptr);
  EXPECT_LE(back.state.hearing.habit_s, habit + 1) << "else the next silence is told days late";
  back.wait_until(later_by_days(Station::at_days(back.turn / 24.0), 0.5));
  EXPECT_NE(back.first(Condition::station_silent), nullptr);
}

// If this fails an engineer's limit is read and does nothing.
TEST(Thresholds, limits_of_the_plant_are_held) {
  Station time;
  time.of(Condition::slow_to_pressure).limit = 160;
  time.run(60);
  ASSERT_NE(time.first(Condition::slow_to_pressure), nullptr) << "150 s is 94 % of 160";
  EXPECT_EQ(time.first(Condition::slow_to_pressure)->shift->limit, 160);
  EXPECT_EQ(time.first(Condition::slow_to_pressure)->urgency, Urgency::plan);

  Station peak;
  peak.of(Condition::peak_shift).limit = 190;
  peak.run(60);
  EXPECT_EQ(peak.first(Condition::peak_shift), nullptr);
  peak.run(1, [](HalfCycle& h) { h.peak_bar = 191; });
  ASSERT_NE(peak.first(Condition::peak_shift), nullptr);
  EXPECT_EQ(peak.first(Condition::peak_shift)->urgency, Urgency::plan);
  EXPECT_EQ(peak.first(Condition::peak_shift)->shift->value, 191);

  Station residual;
  residual.of(Condition::residual_pressure).limit = 1;
  residual.run(60);
  EXPECT_NE(residual.first(Condition::residual_pressure), nullptr) << "1.5 bar is over it";

  Station vent;
  vent.of(Condition::slow_vent).limit = 55;
  vent.run(60);
  ASSERT_NE(vent.first(Condition::slow_vent), nullptr) << "60 s is over it";
  EXPECT_EQ(vent.first(Condition::slow_vent)->reason, "the vent takes longer than the plant can bear");

  Station within;
  within.of(Condition::slow_to_pressure).limit = 400;  // the controller's, 300, counts
  within.of(Condition::peak_shift).limit = 200;
  within.of(Condition::residual_pressure).limit = 12;
  within.of(Condition::slow_vent).limit = 100;
  within.run(300);
  EXPECT_TRUE(within.raised.empty()) << within.raised.front().reason;
}

// If this fails a shift in seconds is another one than the same in per cent.
TEST(Thresholds, a_shift_in_the_figure_s_own_unit_is_that_in_per_cent_of_what_is_usual) {
  Thresholds t;
  t.conditions[static_cast<std::size_t>(Condition::slow_to_pressure)].smallest_shift_own = 7.5;
  EXPECT_NEAR(smallest_shift(t, Condition::slow_to_pressure, smallest_time_shift, 150), std::log(1.05), 1e-12);
  EXPECT_DOUBLE_EQ(smallest_shift(t, Condition::slow_to_pressure, smallest_time_shift, std::nullopt), smallest_time_shift);
  t.conditions[static_cast<std::size_t>(Condition::residual_pressure)].smallest_shift_own = 2.5;
  EXPECT_DOUBLE_EQ(smallest_residual(t, 10), 0.25);
  const auto told_of = [](double step, const std::function<void(Station&)>& with) {
    Station station;
    with(station);
    station.run(200);
    station.run(100, [&](HalfCycle& h) { h.time_to_pressure_s = *h.time_to_pressure_s * (h.line == 1 ? step : 1); });
    const Finding* found = station.first(Condition::slow_to_pressure);
    return found == nullptr ? Time{} : found->time;
  };
  const auto first_told = [&](const std::function<void(Station&)>& with) { return told_of(1.08, with); };
  const Time in_seconds = first_told([](Station& s) { s.of(Condition::slow_to_pressure).smallest_shift_own = 7.5; });
  EXPECT_NE(in_seconds, Time{});
  EXPECT_EQ(in_seconds, first_told([](Station& s) { s.of(Condition::slow_to_pressure).smallest_shift = 5; }));
  EXPECT_GE(in_seconds, first_told([](Station&) {})) << "so large a step is told at the same turn";
  const Time small_in_seconds = told_of(1.04, [](Station& s) { s.of(Condition::slow_to_pressure).smallest_shift_own = 7.5; });
  const Time small_usual = told_of(1.04, [](Station&) {});
  ASSERT_NE(small_in_seconds, Time{});
  ASSERT_NE(small_usual, Time{});
  EXPECT_GT(small_in_seconds, small_usual);
  EXPECT_EQ(first_told([](Station& s) { s.of(Condition::slow_to_pressure).smallest_shift_own = 60; }), Time{}) << "8 % is 12 s";
}

// If this fails the days of lead asked for one condition are the station's, or the other way round.
TEST(Thresholds, days_of_lead_are_the_condition_s_where_it_has_its_own) {
  Thresholds t;
  t.plan_days = 20;
  EXPECT_EQ(t.plan_days_of(Condition::slow_vent), 20);
  t.conditions[static_cast<std::size_t>(Condition::slow_vent)].plan_days = 5;
  EXPECT_EQ(t.plan_days_of(Condition::slow_vent), 5);
  EXPECT_EQ(t.plan_days_of(Condition::slow_to_pressure), 20);
  EXPECT_EQ(t.act_days_of(Condition::slow_to_pressure), 3);
  const auto urgency = [](double plan_days) {
    Station station;
    station.of(Condition::slow_to_pressure).plan_days = plan_days;
    station.run(200);
    int grown = 0;
    station.run(120, [&](HalfCycle& h) { h.time_to_pressure_s = *h.time_to_pressure_s * (h.line == 1 ? 1 + 0.002 * grown++ : 1); });
    return station.first(Condition::slow_to_pressure) == nullptr ? Urgency::act : station.told.empty() ? Urgency::notice : station.told.front().urgency;
  };
  EXPECT_EQ(urgency(365), Urgency::plan);
  EXPECT_EQ(urgency(0), Urgency::notice);
}

}  // namespace
}  // namespace driftline::rules
