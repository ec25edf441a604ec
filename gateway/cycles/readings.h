// Readings beside the turns: reservoir level and temperature, thinned; sensors that give nothing or nonsense.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "gateway/telemetry/sample.h"
#include "rules/records/station_event.h"

namespace driftline::cycles {

// Gauge pressures outside this cannot be: a gauge of such stations ends at 400 to 600 bar.
inline constexpr double pressure_least_bar = -25.0;
inline constexpr double pressure_most_bar = 700.0;

class Readings {
 public:
  // In event-time order. What is nonsense in `sample` is taken out of it.
  void see(Sample& sample, bool at_rest, std::vector<StationEvent>& out);
  void clock_moved(std::int64_t by_ms);

  bool operator==(const Readings&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(lines_, last_level_, level_low_, seen_pct_);
  }

  struct Gauge {
    std::int32_t missing = 0;       // samples in a row
    std::int32_t nonsense = 0;
    Time since{};
    std::optional<SensorTrouble> told;
    bool operator==(const Gauge&) const = default;
  };

 private:
  void see_pressure(Sample& sample, int line, std::vector<StationEvent>& out);
  void see_level(const Sample& sample, bool at_rest, std::vector<StationEvent>& out);

  std::array<Gauge, lines_max> lines_{};
  std::optional<Time> last_level_;
  std::optional<bool> level_low_;
  std::optional<double> seen_pct_;
};

}  // namespace driftline::cycles
