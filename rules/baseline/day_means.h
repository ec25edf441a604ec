// What the scatter of daily means shows of a figure's lasting deviation: the mean of n independent turns scatters by
// deviation/sqrt(n); what is more is likeness that neighbours do not show, such as weather of days. Weather that the baseline does
// not know lasts: days in a row are alike too, which counts as it does for turns, (1+phi)/(1-phi). Errors in, variance out.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr double day_prior_days = 5;
inline constexpr double day_memory = 60;
inline constexpr double days_alike_prior = 0;         // correlation of days in a row
inline constexpr double days_alike_prior_days = 10;
inline constexpr double days_alike_most = 0.7;
inline constexpr double lasting_most = 12;  // a lasting variance beyond this many times that of a turn is a fault, not scatter

struct DayMeans {
  float sum = 0;  // of the day that is open
  std::uint16_t turns = 0;
  std::int32_t day = 0;
  float square_sum = 0;  // of (daily mean)^2 * turns
  float weight = 0;
  float product_sum = 0;  // of (mean * sqrt(turns)) of days in a row
  float last = 0;         // of the day before the open one
  bool operator==(const DayMeans&) const = default;

  void note(float error, Time time) {
    const auto now = static_cast<std::int32_t>(ms_since_1970(time) / 86400000);
    if (now != day) close(now);
    day = now;
    sum += error;
    if (turns < 65535) ++turns;
  }

  // Per turn, for sums of turns. `from_neighbours`: what likeness of neighbours makes of the variance of one turn.
  [[nodiscard]] double lasting_variance(double of_one_turn, double from_neighbours) const {
    const double of_days = (double{square_sum} + from_neighbours * day_prior_days) / (double{weight} + day_prior_days);
    const double from_days = of_days * (1 + alike()) / (1 - alike());
    return std::min(std::max(from_neighbours, from_days), lasting_most * of_one_turn);
  }

  template <class Archive>
  void serialize(Archive& archive) {
    archive(sum, turns, day, square_sum, weight, product_sum, last);
  }

 private:
  [[nodiscard]] double alike() const {
    const double phi = square_sum > 0 ? double{product_sum} / double{square_sum} : 0;
    const double pooled = (phi * double{weight} + days_alike_prior * days_alike_prior_days) / (double{weight} + days_alike_prior_days);
    return std::clamp(pooled, 0.0, days_alike_most);
  }

  void close(std::int32_t next) {
    float closed = 0;
    if (turns > 0) {
      const float count = static_cast<float>(turns);
      const float keep = static_cast<float>(1 - 1 / day_memory);
      closed = sum / std::sqrt(count);
      square_sum = keep * square_sum + closed * closed;
      product_sum = keep * product_sum + closed * last;
      weight = keep * weight + 1;
    }
    last = next == day + 1 ? closed : 0;
    sum = 0;
    turns = 0;
  }
};

}  // namespace driftline::rules
