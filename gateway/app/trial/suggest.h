// Thresholds that meet a budget, from the stations' own noise, with the evidence. Stations that are alike get the same: of one
// kind and of like scatter, so that people have few settings to know.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "gateway/app/trial/trial.h"

namespace driftline::trial {

struct SuggestSettings {
  std::optional<double> budget;     // false warnings a station and year; empty: what is in force for it
  std::optional<double> lead_days;  // wanted; told where it cannot be had
  PriceSettings price{.fault_days = 30, .beginnings = 20};
  int threads = 1;
};

// 60 days of turns in good order: two months of weather, and a noise whose tails have been seen.
inline constexpr double suggest_days_least = 60;

struct Evidence {
  Condition condition = Condition::slow_to_pressure;
  Price now;        // means over the stations
  Price then;
  double shift_now = 0;   // smallest shift that matters, per cent
  double shift_then = 0;
  double share = 0;       // of the budget
};

struct Suggestion {
  std::vector<StationId> stations;
  std::string alike;                // why they stand together: "kind twin", "2 lines to 180 bar"
  double days = 0;                  // of noise, of the station with fewest
  std::optional<std::string> why_none;  // "not enough history: ..."; the rest is empty then
  double budget = 0;
  std::vector<Evidence> evidence;
  std::string patch;                // JSON; "{}" where what is in force is as good
  double false_now = 0;
  double false_then = 0;
  bool meets_budget = false;
  std::optional<bool> meets_lead;
};

using Kinds = std::map<StationId, std::string>;  // configured kind, where there is one

[[nodiscard]] std::vector<Suggestion> suggest(const TrialReport& report, const Contexts& in_force, const Kinds& kinds,
                                              const SuggestSettings& settings);

}  // namespace driftline::trial
