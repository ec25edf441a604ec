// Units of other shapes, into ours.
//
// Factors are exact by definition (1 in = 0.0254 m, 1 lb = 0.45359237 kg, g_n = 9.80665 m/s2, 1 bar = 1e5 Pa); checked in
// tests/reference/units_test.cpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace driftline {

enum class Quantity : std::uint8_t { pressure, temperature, duration, share };

// ours = (value + before) * factor; ours are bar, degrees Celsius, seconds, per cent.
struct UnitConversion {
  Quantity quantity = Quantity::pressure;
  double before = 0;
  double factor = 1;
  [[nodiscard]] double convert(double value) const { return (value + before) * factor; }
};

// "bar", "mbar", "Pa", "kPa", "MPa", "psi", "kgf/cm2", "atm"; "C", "F", "K"; "s", "ms", "min", "h", "d"; "%", "1".
[[nodiscard]] std::optional<UnitConversion> unit_named(std::string_view name);

[[nodiscard]] std::string_view unit_names(Quantity quantity);  // for a remedy

}  // namespace driftline
