// What the grease may have felt of the air: the temperature low-passed with three time constants.
//
// Grease in hoses and reservoir follows the air like a first-order lag of some hours:  T' = (T_air - T)/tau. The true lag is
// not known and differs between stations, so a baseline is given the temperature at a middling lag and the difference between
// a quick and a slow one: to first order in the lag, T(tau) = T(4 h) + c (T(1.5 h) - T(10 h)) for any tau between them, and c
// is learnt. Common practice, no source.
// Where no temperature is given, the vent time of the lines is the thermometer: it follows the grease's stiffness closely
// and by two to three times as much as the time to pressure does. Its logarithm, from where it was in the first turns, over
// `vent_per_ten_degrees` stands for tens of degrees; what lines disagree about is `doubt`. The vent of a single line cannot
// be its own thermometer: there the hour of the day takes its place as sine and cosine.
#pragma once

#include <optional>

#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr double quick_lag_h = 1.5;
inline constexpr double middle_lag_h = 4;
inline constexpr double slow_lag_h = 10;
inline constexpr double season_lag_h = 120;  // what the weather was in the last days
inline constexpr double reference_c = 10;

struct Air {
  std::optional<Time> at;
  double now_c = 0;
  double quick_c = 0;
  double middle_c = 0;
  double slow_c = 0;
  double season_c = 0;

  bool operator==(const Air&) const = default;

  template <class Archive>
  void serialize(Archive& archive) {
    archive(at, now_c, quick_c, middle_c, slow_c, season_c);
  }
};

// Readings older than the last, and readings that no climate gives, are passed over.
void feel(Air& air, Time time, double temp_c);

// Regressors of a turn: the middling temperature in tens of degrees from the reference and quick less slow in tens of
// degrees, or sine and cosine of the hour.
struct Weather {
  double grease = 0;
  double lag = 0;
  bool is_temperature = false;
  double doubt = 0;  // deviation of `grease`
};
[[nodiscard]] Weather weather_of(const Air& air, Time time);

// The temperature was given within the last day.
[[nodiscard]] bool is_felt(const Air& air, Time time);

inline constexpr double unknown_doubt = 1;              // tens of degrees, where nothing tells the temperature
inline constexpr double vent_per_ten_degrees = -0.25;  // logarithm; only sets the scale, the slopes are learnt


// As if the air stayed at what it is now until the grease has followed.
[[nodiscard]] Weather weather_to_come(const Air& air, Time time);

}  // namespace driftline::rules
