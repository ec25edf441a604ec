// What a threshold costs and what it buys, on a station's own noise.
//
// Cost: false warnings a year. Two answers:
//   by run length  the exact run length of the one-sided cumulative sum for independent normal values with the figure's
//                  lasting deviation, and allowance and limit as they mostly are (rules/statistics/run_length.h, Page
//                  1954): turns a year / run length. What the baseline does not know itself is left out
//   by excursions  the rule's own chart over the station's own errors, so that tails and likeness of neighbouring turns are the
//                  station's. What a sum reaches between two zeros is one excursion; above a high mark their peaks have an
//                  exponential tail (a sum with negative drift: Siegmund, Sequential Analysis, 1985; peaks over a mark:
//                  Pickands 1975; both from memory), which is fitted to the largest and told at the decision limit. This is the
//                  one that counts; it holds to about a factor of two down to a tenth of a warning in the length of the noise.
// Worth: days of lead against a fault that grows evenly from nothing to the limit within `fault_days`, laid over the station's
// own errors: median and 10 % point over many beginnings. Of a time: a leak whose share of the flow grows evenly up to the
// pump limit; residual pressure: up to its limit; vent: up to twice the usual; quick: down by a fifth; peak: by 15 %.
//
// Conditions without a chart have no run length: only those of chart_conditions are priced. Pure; any thread; equal input
// gives equal output.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "gateway/app/trial/noise.h"
#include "rules/conditions/thresholds.h"

namespace driftline::trial {

inline constexpr std::array chart_conditions{Condition::slow_to_pressure, Condition::quick_to_pressure,
                                             Condition::residual_pressure, Condition::slow_vent, Condition::peak_shift};

struct PriceSettings {
  double fault_days = 30;
  int beginnings = 40;      // of the fault, spread over the noise
};

struct Price {
  double false_a_year = 0;       // by excursions; what all lines show within days is one warning
  double by_run_length = 0;      // likewise
  double lead_days = 0;          // median over lines and beginnings
  double lead_days_low = 0;      // 9 of 10 have more
  bool operator==(const Price&) const = default;
};

// What one turn is held against; the decision interval is left out, so that one pass serves every budget.
struct HeldTurn {
  float error;
  float shown;
  float allowance;
  float cap;
  float lasting;
  float fast;
};

// The noise of one station, prepared once for many thresholds.
class Pricing {
 public:
  // `in_force`: the thresholds with which the noise was gathered.
  Pricing(const StationNoise& noise, const Thresholds& in_force, const PriceSettings& settings)
      : noise_(&noise), in_force_(in_force), settings_(settings) {}

  // Empty where the noise has no turns of that figure, or the condition no chart.
  [[nodiscard]] std::optional<Price> of(Condition condition, const Thresholds& thresholds);
  // False warnings a year of all chart_conditions together: what several of them show within days is one warning.
  [[nodiscard]] double false_together(const Thresholds& thresholds);

 private:
  struct Excursion {
    float height = 0;     // its peak, in lasting deviations; of `together` in limits
    double at_days = 0;   // of its peak, since 1970
    bool sudden = false;  // the fast path spoke: over any limit
  };
  struct Pass {
    Condition condition{};
    double scale = 0;  // of the smallest shift
    int line = 0;
    Figure figure{};
    std::vector<HeldTurn> turns;
    std::vector<Excursion> excursions;  // by time
    double years = 0;                   // of noise
  };
  class Walk;
  void add_excursions(Condition condition, const Thresholds& thresholds, std::vector<Excursion>& out, double& years);
  [[nodiscard]] static double warnings_a_year(std::vector<Excursion> excursions, double years);
  const Pass& pass_of(Condition condition, double scale, int line, Figure figure);

  const StationNoise* noise_;  // outlives this
  Thresholds in_force_;
  PriceSettings settings_;
  std::vector<Pass> passes_;
};

// The smallest shift of a condition on a line, on the figure's scale, as the rules take it for the line's mostly usual figure.
[[nodiscard]] double smallest_shift_of(const Thresholds& thresholds, Condition condition, const LineNoise& line);

// How many excursions a year go over `limit`: counted where enough did, else by the exponential tail. `peaks`: largest first.
[[nodiscard]] double excursions_a_year(const std::vector<float>& peaks, double years, double limit);

struct CurvePoint2 {
  double cost = 0;
  double worth = 0;
};
// Of points in order of their cost: the one that lies farthest above the straight line from the first to the last, cost
// taken as its logarithm; where a little more lead begins to cost much. Empty for fewer than three.
[[nodiscard]] std::optional<std::size_t> knee_of(const std::vector<CurvePoint2>& points);

}  // namespace driftline::trial
