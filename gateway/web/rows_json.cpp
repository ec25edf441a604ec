#include "gateway/web/rows_json.h"

#include "rules/records/names.h"

namespace driftline::web {
namespace {

void put_usual(JsonText& json, std::string_view name, const std::optional<UsualFigure>& usual) {
  json.key(name);
  if (usual) json.open('{').put("expected", Rounded{usual->expected, 3}).put("deviation", Rounded{usual->deviation, 3}).close('}');
  else json.null();
}

}  // namespace

void put(JsonText& json, const ControllerSettings& s) {
  json.open('{').put("cycle_s", Rounded{s.cycle_s, 3}).put("pump_limit_s", Rounded{s.pump_limit_s, 3}).put("target_bar", Rounded{s.target_bar, 2});
  json.put("residual_bar", Rounded{s.residual_bar, 2}).put("lines", s.lines).close('}');
}

void put(JsonText& json, const history::Stored<history::HalfCycleRow>& stored) {
  const HalfCycle& t = stored.row.half_cycle;
  json.open('{').put("id", stored.id).put("line", t.line).put("pump_start_ms", t.pump_start).put("pump_stop_ms", t.pump_stop);
  json.put("outcome", name_of(t.outcome)).put("time_to_pressure_s", Rounded{t.time_to_pressure_s, 3});
  json.put("time_to_pressure_error_s", Rounded{t.time_to_pressure_error_s, 3}).put("pump_run_s", Rounded{t.pump_run_s, 3});
  json.put("peak_bar", Rounded{t.peak_bar, 2}).put("residual_bar", Rounded{t.residual_bar, 2}).put("vent_s", Rounded{t.vent_s, 3});
  json.put("level_pct", Rounded{t.level_pct, 2}).put("temp_c", Rounded{t.temp_c, 2}).put("samples", t.samples);
  json.put("largest_gap_s", Rounded{t.largest_gap_s, 3}).put("vent_floor_bar", Rounded{t.vent_floor_bar, 2});
  json.put("off_schedule", t.off_schedule).put("clock_stepped", t.clock_stepped).put("late", t.arrival == Arrival::late);
  json.key("settings");
  put(json, t.settings);
  json.key("usual").open('{');
  put_usual(json, "time_to_pressure_s", stored.row.usual.time_to_pressure_s);
  put_usual(json, "peak_bar", stored.row.usual.peak_bar);
  put_usual(json, "residual_bar", stored.row.usual.residual_bar);
  put_usual(json, "vent_s", stored.row.usual.vent_s);
  json.close('}').close('}');
}

void put_curve(JsonText& json, const history::Stored<history::HalfCycleRow>& stored) {
  const HalfCycle& t = stored.row.half_cycle;
  json.open('{').put("id", stored.id).put("pump_start_ms", t.pump_start).put("temp_c", Rounded{t.temp_c, 2}).key("after_s").open('[');
  for (const CurvePoint& point : t.shape.curve) json.put(Rounded{point.after_s, 3});
  json.close(']').key("bar").open('[');
  for (const CurvePoint& point : t.shape.curve) json.put(Rounded{point.bar, 2});
  json.close(']').close('}');
}

void put(JsonText& json, const history::ServiceNoteRow& row) {
  json.open('{').put("at_ms", row.note.time).put("kind", name_of(row.note.kind)).put("line", row.note.line).put("note", row.note.note);
  json.put("by", row.note.by).close('}');
}

}  // namespace driftline::web
