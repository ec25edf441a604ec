// Air at a site and grease in a station, hour by hour.
#pragma once

#include <cstdint>
#include <vector>

#include "gateway/simulate/plan.h"

namespace driftline::simulate {

class Weather {
 public:
  Weather(const Climate& climate, std::uint64_t seed, Time from, double days);

  [[nodiscard]] double air_c(double at_s) const;  // seconds since the start

  // What follows the air through a first-order lag.
  [[nodiscard]] Weather lagged(double lag_hours, double offset_c) const;

 private:
  Weather() = default;
  std::vector<double> hourly_c_;
};

}  // namespace driftline::simulate
