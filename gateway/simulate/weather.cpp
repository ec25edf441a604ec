#include "gateway/simulate/weather.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gateway/simulate/rng.h"

namespace driftline::simulate {
namespace {

// Falls in half a day, holds, comes back in a day.
double depth_of(const ColdSpell& spell, double day) {
  const double in = (day - spell.from_day) / 0.5;
  const double out = (spell.from_day + spell.days - day) / 1.0;
  return spell.depth_c * std::clamp(std::min(in, out), 0.0, 1.0);
}

}  // namespace

Weather::Weather(const Climate& climate, std::uint64_t seed, Time from, double days) {
  Rng rng(seed_for(seed, "weather"));
  const double keep = std::exp(-1.0 / (24 * climate.front_days));
  double front = climate.front_c * rng.normal();
  const double first_hour = std::fmod(static_cast<double>(ms_since_1970(from)) / 3.6e6, 24);
  const auto hours = static_cast<std::size_t>(days * 24) + 50;
  hourly_c_.reserve(hours);
  double swing = 1;
  for (std::size_t h = 0; h < hours; ++h) {
    front = keep * front + std::sqrt(1 - keep * keep) * climate.front_c * rng.normal();
    if (h % 24 == 0) swing = rng.between(0.4, 1.3);  // clear or clouded
    const double day = static_cast<double>(h) / 24;
    const double of_day = (first_hour + static_cast<double>(h) - 9) / 24 * 2 * std::numbers::pi;  // warmest at 15 h
    double air = climate.mean_c + climate.trend_c_day * day + front + climate.day_swing_c * swing * std::sin(of_day);
    for (const ColdSpell& spell : climate.cold_spells) air -= depth_of(spell, day);
    hourly_c_.push_back(air);
  }
}

double Weather::air_c(double at_s) const {
  const double hour = std::clamp(at_s / 3600, 0.0, static_cast<double>(hourly_c_.size() - 2));
  const auto i = static_cast<std::size_t>(hour);
  const double part = hour - static_cast<double>(i);
  return hourly_c_[i] * (1 - part) + hourly_c_[i + 1] * part;
}

Weather Weather::lagged(double lag_hours, double offset_c) const {
  Weather out;
  double value = hourly_c_.front() + offset_c;
  const double take = 1 - std::exp(-1 / std::max(0.05, lag_hours));
  for (const double air : hourly_c_) {
    value += take * (air + offset_c - value);
    out.hourly_c_.push_back(value);
  }
  return out;
}

}  // namespace driftline::simulate
