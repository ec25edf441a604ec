#include "gateway/telemetry/units.h"

#include <array>

namespace driftline {
namespace {

struct Named {
  std::string_view name;
  UnitConversion conversion;
};

constexpr double pascal = 1e-5;                                                // bar
constexpr double psi = 0.45359237 * 9.80665 / (0.0254 * 0.0254) * pascal;      // pound-force a square inch
constexpr std::array<Named, 18> table{{
    {"bar", {Quantity::pressure, 0, 1}},
    {"mbar", {Quantity::pressure, 0, 1e-3}},
    {"Pa", {Quantity::pressure, 0, pascal}},
    {"kPa", {Quantity::pressure, 0, 1e-2}},
    {"MPa", {Quantity::pressure, 0, 10}},
    {"psi", {Quantity::pressure, 0, psi}},
    {"kgf/cm2", {Quantity::pressure, 0, 0.980665}},
    {"atm", {Quantity::pressure, 0, 1.01325}},
    {"C", {Quantity::temperature, 0, 1}},
    {"F", {Quantity::temperature, -32, 1 / 1.8}},
    {"K", {Quantity::temperature, -273.15, 1}},
    {"s", {Quantity::duration, 0, 1}},
    {"ms", {Quantity::duration, 0, 1e-3}},
    {"min", {Quantity::duration, 0, 60}},
    {"h", {Quantity::duration, 0, 3600}},
    {"d", {Quantity::duration, 0, 86400}},
    {"%", {Quantity::share, 0, 1}},
    {"1", {Quantity::share, 0, 100}},
}};

}  // namespace

std::optional<UnitConversion> unit_named(std::string_view name) {
  for (const Named& unit : table)
    if (unit.name == name) return unit.conversion;
  return std::nullopt;
}

std::string_view unit_names(Quantity quantity) {
  switch (quantity) {
    case Quantity::pressure: return "bar, mbar, Pa, kPa, MPa, psi, kgf/cm2 or atm";
    case Quantity::temperature: return "C, F or K";
    case Quantity::duration: return "s, ms, min, h or d";
    case Quantity::share: return "% or 1";
  }
  return {};
}

}  // namespace driftline
