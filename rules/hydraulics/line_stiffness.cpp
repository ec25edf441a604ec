#include "rules/hydraulics/line_stiffness.h"

#include <numbers>

#include "rules/records/require.h"

namespace driftline::hydraulics {
namespace {

double bore_area_cm2(const LineShape& line) { return std::numbers::pi / 4 * line.bore_mm * line.bore_mm / 100; }

}  // namespace

double line_volume_cm3(const LineShape& line) { return bore_area_cm2(line) * line.length_m * 100; }

double thin_wall_per_bar(const LineShape& line) {
  return line.wall_mm > 0 ? line.bore_mm / (line.wall_mm * line.wall_modulus_bar) : 0;
}

double thick_wall_per_bar(const LineShape& line) {
  if (line.wall_mm <= 0) return 0;
  const double inner = line.bore_mm / 2;
  const double outer = inner + line.wall_mm;
  const double squares = outer * outer - inner * inner;
  return 2 / line.wall_modulus_bar * ((outer * outer + inner * inner) / squares + line.poisson);
}

double wall_per_bar(const LineShape& line) {
  if (line.expansion_cm3_per_m_per_bar) return *line.expansion_cm3_per_m_per_bar / (bore_area_cm2(line) * 100);
  return thick_wall_per_bar(line);
}

double air_taken_cm3(double free_air_cm3, double rise_bar, double air_bar) {
  return free_air_cm3 * (1 - air_bar / (air_bar + rise_bar));
}

double volume_taken_cm3(const LineShape& line, const GreaseCompliance& grease, double rise_bar) {
  require(rise_bar >= 0, "a rise is not negative");
  return line_volume_cm3(line) * rise_bar * (1 / grease.bulk_modulus_bar + wall_per_bar(line)) +
         air_taken_cm3(grease.free_air_cm3, rise_bar);
}

}  // namespace driftline::hydraulics
