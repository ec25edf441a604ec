#include "rules/baseline/air.h"

#include <cmath>
#include <numbers>

namespace driftline::rules {
namespace {
constexpr double coldest_possible_c = -60;
constexpr double hottest_possible_c = 90;
constexpr double now_lag_h = 0.25;
constexpr double stale_h = 72;  // after this nothing is known of the grease but today's air

double follow(double from, double to, double hours, double lag_h) { return from + (to - from) * -std::expm1(-hours / lag_h); }

Weather tens(double quick_c, double middle_c, double slow_c) { return {.grease = (middle_c - reference_c) / 10, .lag = (quick_c - slow_c) / 10, .is_temperature = true}; }
}  // namespace

void feel(Air& air, Time time, double temp_c) {
  if (!(temp_c >= coldest_possible_c && temp_c <= hottest_possible_c)) return;
  if (air.at && time <= *air.at) return;
  const double hours = air.at ? seconds_between(*air.at, time) / 3600 : stale_h;
  if (hours >= stale_h) {
    air = {.at = time, .now_c = temp_c, .quick_c = temp_c, .middle_c = temp_c, .slow_c = temp_c, .season_c = temp_c};
    return;
  }
  air.at = time;
  air.now_c = follow(air.now_c, temp_c, hours, now_lag_h);
  air.quick_c = follow(air.quick_c, temp_c, hours, quick_lag_h);
  air.middle_c = follow(air.middle_c, temp_c, hours, middle_lag_h);
  air.slow_c = follow(air.slow_c, temp_c, hours, slow_lag_h);
  air.season_c = follow(air.season_c, temp_c, hours, season_lag_h);
}

bool is_felt(const Air& air, Time time) { return air.at && seconds_between(*air.at, time) < 86400; }

Weather weather_of(const Air& air, Time time) {
  if (air.at) {
    Weather weather = tens(air.quick_c, air.middle_c, air.slow_c);
    if (!is_felt(air, time)) weather.doubt = unknown_doubt;
    return weather;
  }
  const double turn_of_day = 2 * std::numbers::pi * (static_cast<double>(ms_since_1970(time) % 86400000) / 86400000.0);
  return {.grease = std::sin(turn_of_day), .lag = std::cos(turn_of_day)};
}

Weather weather_to_come(const Air& air, Time time) {
  if (!air.at || !is_felt(air, time)) return weather_of(air, time);
  return tens(air.now_c, air.now_c, air.now_c);
}

}  // namespace driftline::rules
