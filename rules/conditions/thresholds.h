// The numbers an engineer thinks in. Layered by configuration: built-in, rules, kind of station, site, station.
#pragma once

#include <array>
#include <optional>

#include "rules/conditions/quiet.h"
#include "rules/records/finding.h"

namespace driftline {

struct ConditionThresholds {
  bool watched = true;
  std::optional<double> false_warnings_per_year;  // share of the station's budget; empty: the usual share (rules/judgement/figures.h)
  std::optional<double> smallest_shift;           // smallest lasting shift that matters; per cent of the baseline
  std::optional<double> smallest_shift_own;       // the same in the figure's own unit, s or bar; wins where it is there
  std::optional<double> plan_days;                // of conditions that look ahead; empty: the station's
  std::optional<double> act_days;
  std::optional<double> limit;                    // of the plant, in the figure's own unit: s, bar, per cent of the level
  std::optional<QuietPeriods> quiet;              // empty: the station's
  bool operator==(const ConditionThresholds&) const = default;
};

struct Thresholds {
  double false_warnings_per_year = 0.5;  // allowed for a station and year, over all conditions together
  int turns_to_learn = 40;               // half-cycles in good order behind a baseline
  double plan_days = 14;                 // a limit expected within this: plan
  double act_days = 3;                   // a limit that may be met within this (early end of the interval): act
  double reservoir_notice_days = 14;     // reservoir life under this: notice
  double reservoir_plan_days = 7;
  double reservoir_act_days = 2;
  std::optional<double> silent_after_s;  // empty: from the station's own habit
  QuietPeriods quiet;                    // of every condition that has none of its own
  std::array<ConditionThresholds, condition_count> conditions{};

  [[nodiscard]] const ConditionThresholds& of(Condition condition) const { return conditions[static_cast<std::size_t>(condition)]; }
  [[nodiscard]] double plan_days_of(Condition condition) const { return of(condition).plan_days.value_or(plan_days); }
  [[nodiscard]] double act_days_of(Condition condition) const { return of(condition).act_days.value_or(act_days); }
  // As quiet_until (rules/conditions/quiet.h), of one condition.
  [[nodiscard]] std::optional<Time> quiet_until_of(Condition condition, Time time) const {
    const auto& own = of(condition).quiet;
    const QuietPeriods& periods = own ? *own : quiet;
    return periods.empty() ? std::nullopt : quiet_until(periods, time);
  }
  bool operator==(const Thresholds&) const = default;
};

}  // namespace driftline
