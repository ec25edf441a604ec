#include <array>
#include <cmath>
#include <cstdint>
#include <optional>

#include "gateway/history/events.h"
#include "gateway/history/pack.h"
#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {
namespace {

using Thousandths = std::optional<std::int64_t>;

Thousandths expected_of(const std::optional<UsualFigure>& f) {
  return f ? Thousandths{std::llround(f->expected * 1000)} : std::nullopt;
}
Thousandths deviation_of(const std::optional<UsualFigure>& f) {
  return f ? Thousandths{std::llround(f->deviation * 1000)} : std::nullopt;
}
std::optional<UsualFigure> figure_of(Thousandths expected, Thousandths deviation) {
  if (!expected || !deviation) return std::nullopt;
  return UsualFigure{static_cast<double>(*expected) / 1000, static_cast<double>(*deviation) / 1000};
}

}  // namespace

HalfCycleTable::HalfCycleTable(Database& database)
    : insert(database.prepare(
          "INSERT INTO half_cycles (station_no, line, pump_start, pump_stop, outcome, time_to_pressure_s,"
          " time_to_pressure_error_s, pump_run_s, peak_bar, residual_bar, vent_s, level_pct, temp_c, samples,"
          " largest_gap_s, set_cycle_s, set_pump_limit_s, set_target_bar, set_residual_bar, set_lines, curve,"
          " soft_start_s, plateau_start_s, plateau_s, plateau_bar, steep_bar_per_s, run_on_s, vent_floor_bar,"
          " others_bar, off_schedule, clock_stepped, late,"
          " usual_time_to_pressure_ms, usual_time_to_pressure_sd_ms, usual_peak_mbar, usual_peak_sd_mbar,"
          " usual_residual_mbar, usual_residual_sd_mbar, usual_vent_ms, usual_vent_sd_ms)"
          " VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)")) {}

void HalfCycleTable::put(std::int64_t station_no, const HalfCycleRow& stored) {
  const HalfCycle& row = stored.half_cycle;
  const TurnUsual& usual = stored.usual;
  const std::string curve = pack_curve(row.shape.curve);
  const std::string others = pack_others(row.others_start_bar, row.others_stop_bar);
  insert.run(station_no, row.line, row.pump_start, row.pump_stop, name_of(row.outcome), row.time_to_pressure_s,
             row.time_to_pressure_error_s, row.pump_run_s, row.peak_bar, row.residual_bar, row.vent_s, row.level_pct,
             row.temp_c, row.samples, row.largest_gap_s, row.settings.cycle_s, row.settings.pump_limit_s,
             row.settings.target_bar, row.settings.residual_bar, row.settings.lines, Blob{curve},
             row.shape.soft_start_s, row.shape.plateau_start_s, row.shape.plateau_s, row.shape.plateau_bar,
             row.shape.steep_bar_per_s, row.shape.run_on_s, row.vent_floor_bar, Blob{others}, row.off_schedule,
             row.clock_stepped, row.arrival == Arrival::late, expected_of(usual.time_to_pressure_s),
             deviation_of(usual.time_to_pressure_s), expected_of(usual.peak_bar), deviation_of(usual.peak_bar),
             expected_of(usual.residual_bar), deviation_of(usual.residual_bar), expected_of(usual.vent_s),
             deviation_of(usual.vent_s));
}

const char* const HalfCycleTable::select =
    "SELECT id, site, station, line, pump_start, pump_stop, outcome, time_to_pressure_s, time_to_pressure_error_s,"
    " pump_run_s, peak_bar, residual_bar, vent_s, level_pct, temp_c, samples, largest_gap_s, set_cycle_s,"
    " set_pump_limit_s, set_target_bar, set_residual_bar, set_lines, curve, soft_start_s, plateau_start_s, plateau_s,"
    " plateau_bar, steep_bar_per_s, run_on_s, vent_floor_bar, others_bar, off_schedule, clock_stepped, late,"
    " usual_time_to_pressure_ms, usual_time_to_pressure_sd_ms, usual_peak_mbar, usual_peak_sd_mbar, usual_residual_mbar,"
    " usual_residual_sd_mbar, usual_vent_ms, usual_vent_sd_ms"
    " FROM half_cycles CROSS JOIN stations ON no = station_no ";

std::string HalfCycleTable::select_without_curve() {
  std::string text = select;
  constexpr std::string_view column = " curve,";
  return text.replace(text.find(column), column.size(), " NULL,");
}

Stored<HalfCycleRow> HalfCycleTable::take(Statement& from) {
  Stored<HalfCycleRow> stored;
  HalfCycle& row = stored.row.half_cycle;
  std::string outcome;
  std::string curve;
  std::string others;
  bool late = false;
  std::array<Thousandths, 8> usual;
  from.take_all(stored.id, stored.row.station.site, stored.row.station.station, row.line, row.pump_start,
                row.pump_stop, outcome, row.time_to_pressure_s, row.time_to_pressure_error_s, row.pump_run_s,
                row.peak_bar, row.residual_bar, row.vent_s, row.level_pct, row.temp_c, row.samples, row.largest_gap_s,
                row.settings.cycle_s, row.settings.pump_limit_s, row.settings.target_bar, row.settings.residual_bar,
                row.settings.lines, curve, row.shape.soft_start_s, row.shape.plateau_start_s, row.shape.plateau_s,
                row.shape.plateau_bar, row.shape.steep_bar_per_s, row.shape.run_on_s, row.vent_floor_bar, others,
                row.off_schedule, row.clock_stepped, late,
                usual[0], usual[1], usual[2], usual[3], usual[4], usual[5], usual[6], usual[7]);
  stored.row.usual = {figure_of(usual[0], usual[1]), figure_of(usual[2], usual[3]), figure_of(usual[4], usual[5]),
                      figure_of(usual[6], usual[7])};
  row.outcome = named<Outcome>(outcome, 4);
  row.arrival = late ? Arrival::late : Arrival::live;
  // A damaged curve must not stop a cursor: the row comes without it.
  const auto points = unpack_curve(curve);
  const auto pressures = unpack_others(others);
  if (!points || !pressures) events::row_damaged("half_cycles", stored.id);
  if (points) row.shape.curve = *points;
  if (pressures) {
    row.others_start_bar = pressures->start_bar;
    row.others_stop_bar = pressures->stop_bar;
  }
  return stored;
}

const char* const TurnGistTable::select =
    "SELECT id, site, station, line, pump_start, pump_stop, outcome, time_to_pressure_s, usual_time_to_pressure_ms,"
    " usual_time_to_pressure_sd_ms, set_target_bar FROM half_cycles CROSS JOIN stations ON no = station_no ";

Stored<TurnGist> TurnGistTable::take(Statement& from) {
  Stored<TurnGist> stored;
  TurnGist& row = stored.row;
  std::string outcome;
  Thousandths expected;
  Thousandths deviation;
  from.take_all(stored.id, row.station.site, row.station.station, row.line, row.pump_start, row.pump_stop, outcome,
                row.time_to_pressure_s, expected, deviation, row.target_bar);
  row.outcome = named<Outcome>(outcome, 4);
  row.usual_time_to_pressure_s = figure_of(expected, deviation);
  return stored;
}

}  // namespace driftline::history
