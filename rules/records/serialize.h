// Which fields of a record are saved, in order. The archive is the caller's (cereal's portable binary in the program);
// this header names none, so that only the files that save or load pay for it.
#pragma once

#include "rules/records/finding.h"
#include "rules/records/half_cycle.h"
#include "rules/records/settings.h"
#include "rules/records/station_event.h"
#include "rules/records/turn_usual.h"
#include "rules/records/warning.h"

namespace driftline {

template <class Archive>
void serialize(Archive& archive, StationId& v) {
  archive(v.site, v.station);
}
template <class Archive>
void serialize(Archive& archive, ControllerSettings& v) {
  archive(v.cycle_s, v.pump_limit_s, v.target_bar, v.residual_bar, v.lines);
}
template <class Archive>
void serialize(Archive& archive, CurvePoint& v) {
  archive(v.after_s, v.bar);
}
template <class Archive>
void serialize(Archive& archive, RiseShape& v) {
  archive(v.curve, v.soft_start_s, v.plateau_start_s, v.plateau_s, v.plateau_bar, v.steep_bar_per_s, v.run_on_s);
}
template <class Archive>
void serialize(Archive& archive, HalfCycle& v) {
  archive(v.line, v.pump_start, v.pump_stop, v.outcome, v.time_to_pressure_s, v.time_to_pressure_error_s, v.pump_run_s,
          v.peak_bar, v.residual_bar, v.vent_s, v.level_pct, v.temp_c, v.samples, v.largest_gap_s, v.settings, v.shape,
          v.vent_floor_bar, v.others_start_bar, v.others_stop_bar, v.off_schedule, v.clock_stepped, v.arrival);
}
template <class Archive>
void serialize(Archive& archive, UsualFigure& v) {
  archive(v.expected, v.deviation);
}
template <class Archive>
void serialize(Archive& archive, TurnUsual& v) {
  archive(v.time_to_pressure_s, v.peak_bar, v.residual_bar, v.vent_s);
}
template <class Archive>
void serialize(Archive& archive, WeightedCause& v) {
  archive(v.cause, v.weight);
}
template <class Archive>
void serialize(Archive& archive, Forecast& v) {
  archive(v.limit_at, v.limit_at_earliest, v.limit_at_latest);
}
template <class Archive>
void serialize(Archive& archive, FigureShift& v) {
  archive(v.figure, v.value, v.usual, v.spread, v.limit, v.since, v.turns);
}
template <class Archive>
void serialize(Archive& archive, EvidenceItem& v) {
  archive(v.figure, v.value, v.usual, v.since, v.text);
}
template <class Archive>
void serialize(Archive& archive, Finding& v) {
  archive(v.condition, v.line, v.time, v.holds, v.urgency, v.causes, v.evidence, v.forecast, v.shift, v.reason);
}

}  // namespace driftline
