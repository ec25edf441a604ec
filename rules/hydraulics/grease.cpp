#include "rules/hydraulics/grease.h"

#include <cmath>

#include "rules/records/require.h"

namespace driftline::hydraulics {
namespace {

constexpr double zero_c_k = 273.15;

double double_log(double viscosity_mm2_s) { return std::log10(std::log10(viscosity_mm2_s + 0.7)); }

}  // namespace

WaltherLine walther_line(const BaseOil& oil) {
  require(oil.at_40_mm2_s > oil.at_100_mm2_s && oil.at_100_mm2_s > 0.5, "an oil thins as it warms");
  const double low = std::log10(40 + zero_c_k);
  const double high = std::log10(100 + zero_c_k);
  const double b = (double_log(oil.at_40_mm2_s) - double_log(oil.at_100_mm2_s)) / (high - low);
  return {.a = double_log(oil.at_40_mm2_s) + b * low, .b = b};
}

double viscosity_mm2_s(const BaseOil& oil, double temp_c) {
  require(temp_c > -zero_c_k, "no temperature lies under absolute zero");
  const WaltherLine line = walther_line(oil);
  return std::pow(10, std::pow(10, line.a - line.b * std::log10(temp_c + zero_c_k))) - 0.7;
}

YieldFluid fluid_at(const Grease& grease, double temp_c) {
  const double ratio = viscosity_mm2_s(grease.oil, temp_c) / viscosity_mm2_s(grease.oil, 20);
  return {.yield_pa = grease.yield_20c_pa * std::pow(ratio, grease.yield_power),
          .consistency_pa_s_n = grease.consistency_20c_pa_s_n * std::pow(ratio, grease.consistency_power),
          .exponent = grease.exponent};
}

}  // namespace driftline::hydraulics
