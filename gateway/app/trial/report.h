// What a trial says: tables, JSON, CSV, SVG. Text out.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/app/trial/candidates.h"
#include "gateway/app/trial/suggest.h"
#include "gateway/app/trial/trial.h"

namespace driftline::trial {

// False warnings a year against lead, over the values of one threshold; means over the stations.
struct CurveStep {
  double value = 0;          // of the threshold
  std::size_t candidate = 0; // in the report's names
  double false_a_year = 0;
  double by_run_length = 0;
  double lead_days = 0;
  double lead_days_low = 0;
  int warnings = 0;          // of all stations
  int before_trouble = 0;
};
struct PriceCurve {
  std::string name;              // of the threshold
  std::vector<CurveStep> steps;  // by value
  std::optional<std::size_t> knee;
  std::optional<CurveStep> in_force;
};
// `first`: the candidate of the range's first value. Of a condition's threshold the price of that condition, else of all.
[[nodiscard]] PriceCurve curve_of(const TrialReport& report, const Range& range, std::size_t first);

[[nodiscard]] std::string report_table(const TrialReport& report, bool each_warning);
[[nodiscard]] std::string curve_table(const PriceCurve& curve);
[[nodiscard]] std::string suggestion_table(const std::vector<Suggestion>& suggestions);

[[nodiscard]] std::string report_json(const TrialReport& report, const std::vector<PriceCurve>& curves,
                                      const std::vector<Suggestion>& suggestions);
// A row for each warning of each candidate.
[[nodiscard]] std::string warnings_csv(const TrialReport& report);
// A row for each station, candidate and condition.
[[nodiscard]] std::string prices_csv(const TrialReport& report);
[[nodiscard]] std::string curve_svg(const PriceCurve& curve);

}  // namespace driftline::trial
