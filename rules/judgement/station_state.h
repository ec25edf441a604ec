// All that is remembered of one station between events. A value: saved, compared, restored (save.cpp).
//
// Bytes: a line takes about 1.7 kB, the station itself under 1 kB beside the reservoir's part; the golden sizes are held in
// StationRules.the_state_of_a_station_stays_within_its_bytes. Nothing grows with time.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "rules/baseline/air.h"
#include "rules/baseline/figure_baseline.h"
#include "rules/baseline/light_figure.h"
#include "rules/conditions/drift_chart.h"
#include "rules/conditions/wear_forecast.h"
#include "rules/records/finding.h"
#include "rules/records/settings.h"
#include "rules/records/time.h"
#include "rules/reservoir/reservoir.h"
#include "rules/warnings/held.h"

namespace driftline::rules {

// Conditions that belong to a line; the same order in LineState::held.
enum class LineIssue : std::uint8_t { slow, quick, not_reached, peak, residual, vent, missed, sensor };
inline constexpr std::size_t line_issue_count = 8;

// After a note of repair or purging: are the figures back?
struct RepairCheck {
  Time since{};
  std::uint8_t turns = 0;
  bool was_open = false;  // a warning was open on the line
  bool noted = false;     // by a person; else seen from the figures alone
  float before = 0;       // shift of time to pressure before it
  float sum = 0;          // of the errors of time to pressure since
  bool operator==(const RepairCheck&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(since, turns, was_open, noted, before, sum);
  }
};

struct LineState {
  FigureBaseline time_to_pressure;
  FigureBaseline vent;
  FigureBaseline residual;
  LightFigure contrast;  // error of time to pressure less that of the other lines
  LightFigure peak;
  DayMeans contrast_days;
  LightFigure plateau_length;
  LightFigure plateau_level;
  LightFigure steepness;
  LightFigure soft_start;
  LightFigure run_on;
  LightFigure others_rise;
  LightFigure floor;
  DriftChart time_chart;
  DriftChart contrast_chart;
  DriftChart vent_chart;
  DriftChart residual_chart;
  DriftChart peak_chart;
  WearHistory wear;
  ShortWearHistory residual_wear;   // of the residual pressure, share of its limit
  ShortWearHistory vent_wear;       // of the vent time, logarithm
  Forecast outlook;            // of the time to pressure, as of the last block of the wear history
  int outlook_blocks = 0;
  std::optional<Time> last_start;
  float period_s = 0;          // between turns of this line, smoothed
  float vent_first = 0;        // mean logarithm of the first vent times, and how many; the station's thermometer
  std::uint8_t vent_first_turns = 0;
  float vent_now = 0;          // logarithm less vent_first, of the last turn
  std::optional<Time> vent_at;
  float last_error = 0;        // of time to pressure, of the last turn
  std::optional<Time> error_at;
  float expected_mean = 0;     // of the expectation of time to pressure over the last days, logarithm
  float expected_square = 0;
  float expected_weight = 0;
  float last_share = 0;        // last time to pressure over the pump limit
  float last_peak_share = 0;   // last peak over the target
  std::uint8_t misses = 0;     // last eight turns, newest in bit 0: target not reached
  std::uint8_t over_residual = 0;  // likewise: residual over its limit
  bool sudden = false;         // the open shift came within turns
  std::uint8_t off_design = 0;   // turns in a row far from what the design gives, while the line still learns
  std::uint8_t returned = 0;   // turns in a row that are far back from an open shift
  std::optional<RepairCheck> repair;
  std::array<Held, line_issue_count> held{};
  bool operator==(const LineState&) const = default;

  template <class Archive>
  void serialize(Archive& archive) {
    archive(time_to_pressure, vent, residual, contrast, peak, contrast_days, plateau_length, plateau_level, steepness, soft_start, run_on,
            others_rise, floor, time_chart, contrast_chart, vent_chart, residual_chart, peak_chart, wear, residual_wear, vent_wear, outlook, outlook_blocks, last_start, period_s, vent_first,
            vent_first_turns, vent_now, vent_at,
            last_error, error_at, expected_mean, expected_square, expected_weight, last_share, last_peak_share, misses,
            over_residual, sudden, off_design, returned, repair, held);
  }
};

// When the station is heard: its own habit.
struct Hearing {
  std::optional<Time> last_received;
  std::optional<Time> unbroken_since;  // station's clock: heard without a long gap since
  std::optional<Time> last_time;       // station's clock
  std::optional<Time> offline_since;   // gateway's clock
  float habit_s = 0;                   // longest usual gap, slowly forgotten
  float limit_s = 21600;               // a gap of this is silence
  int heard = 0;
  float link_losses = 1;               // silences after which late data came, and those without; start even
  float power_losses = 1;
  std::optional<Time> back_at;         // gateway's clock: the end of a silence whose cause is not yet known
  std::optional<Time> unusable_since;  // gateway's clock: messages came, and since the last good one none could be used
  std::optional<Time> last_unusable;
  bool unusable_told = false;          // the open silence is one of messages that cannot be used
  bool operator==(const Hearing&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(last_received, unbroken_since, last_time, offline_since, habit_s, limit_s, heard, link_losses, power_losses, back_at, unusable_since, last_unusable,
            unusable_told);
  }
};

struct StationState {
  Air air;
  std::vector<LineState> lines;
  Hearing hearing;
  ControllerSettings settings;
  std::optional<Time> last_repair;
  std::optional<Time> last_low;            // the reservoir was low, or was filled up from low
  std::optional<Time> last_settings;
  std::optional<float> last_level_pct;
  bool out_of_service = false;
  Held slow;      // all lines alike
  Held quick;
  Held missed;    // no line's turn came
  Held silent;
  reservoir::State reservoir;
  bool operator==(const StationState&) const = default;

  template <class Archive>
  void serialize(Archive& archive) {
    archive(air, lines, hearing, settings, last_repair, last_low, last_settings, last_level_pct, out_of_service, slow, quick,
            missed, silent, reservoir);
  }
};

[[nodiscard]] inline Held& held_of(LineState& line, LineIssue issue) { return line.held[static_cast<std::size_t>(issue)]; }
[[nodiscard]] inline bool is_on(const LineState& line, LineIssue issue) { return line.held[static_cast<std::size_t>(issue)].on; }

}  // namespace driftline::rules
