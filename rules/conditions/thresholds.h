// The numbers an engineer thinks in. Layered by configuration: built-in, rules, kind of station, site, station.
#pragma once

#include <array>
#include <optional>

#include "rules/records/finding.h"

namespace driftline {

struct ConditionThresholds {
  bool watched = true;
  std::optional<double> false_warnings_per_year;  // share of the station's budget; empty: an equal share
  std::optional<double> smallest_shift;           // smallest lasting shift that matters; per cent of the baseline
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
  std::array<ConditionThresholds, condition_count> conditions{};
  bool operator==(const Thresholds&) const = default;
};

}  // namespace driftline
