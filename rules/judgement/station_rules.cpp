// What each event does to a station's state, and what is said of it.
#include "rules/judgement/station_rules.h"

#include <algorithm>
#include <cmath>

#include "rules/judgement/figures.h"
#include "rules/judgement/line_conditions.h"
#include "rules/judgement/presence.h"
#include "rules/judgement/repair.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {
namespace {

constexpr double late_after_s = 900;          // what comes later than this is judged at its coming
constexpr double target_change_matters = 0.01;
constexpr double low_pct_default = 8;

reservoir::Context reservoir_context(const StationContext& context) { return {context.id, context.design, context.thresholds}; }

// What came late cannot warn in the past.
Time judged_at(Time event_time, Time received) { return seconds_between(event_time, received) > late_after_s ? received : event_time; }

LineState& line_of(StationState& state, int number, const StationContext& context) {
  const ControllerSettings settings = overlay(context.design.settings, state.settings);
  const int wanted = std::clamp(std::max(number, settings.lines.value_or(1)), 1, lines_max);
  if (static_cast<int>(state.lines.size()) < wanted) state.lines.resize(static_cast<std::size_t>(wanted));
  return state.lines[static_cast<std::size_t>(number - 1)];
}

void renew_figures(LineState& line, Time time) {
  renew(line.time_to_pressure, priors::time_to_pressure, time);
  renew(line.vent, priors::vent, time);
  renew(line.residual, priors::residual, time);
  renew(line.contrast, priors::contrast);
  renew(line.peak, priors::peak);
  renew(line.plateau_length, priors::length);
  renew(line.plateau_level, priors::level);
  renew(line.steepness, priors::steepness);
  renew(line.soft_start, priors::seconds);
  renew(line.run_on, priors::seconds);
  renew(line.others_rise, priors::bar);
  renew(line.floor, priors::bar);
  for (DriftChart* chart : {&line.time_chart, &line.contrast_chart, &line.vent_chart, &line.residual_chart, &line.peak_chart}) restart(*chart);
  line.wear = {};
  line.residual_wear = {};
  line.vent_wear = {};
  line.error_at.reset();
}

void change_settings(StationState& state, const ControllerSettings& after, Time time, const StationContext& context) {
  const ControllerSettings before = overlay(context.design.settings, state.settings);
  state.settings = overlay(state.settings, after);
  const ControllerSettings now = overlay(context.design.settings, state.settings);
  if (before == now) return;
  const bool known_before = state.settings.target_bar && before.target_bar;
  const bool target = known_before && now.target_bar && std::abs(*now.target_bar / *before.target_bar - 1) > target_change_matters;
  const bool residual = before.residual_bar && now.residual_bar && *before.residual_bar != *now.residual_bar;
  const bool cycle = before.cycle_s && now.cycle_s && std::abs(*now.cycle_s / *before.cycle_s - 1) > 0.05;
  if (target || cycle || residual) state.last_settings = time;
  for (LineState& line : state.lines) {
    if (target || cycle) renew_figures(line, time);
    if (residual) {
      // Vent time is measured down to the residual limit, and the residual is kept as a share of it.
      renew(line.vent, priors::vent, time);
      renew(line.residual, priors::residual, time);
      restart(line.vent_chart);
      restart(line.residual_chart);
    }
    if (cycle) line.period_s = 0;
  }
}

void note_period(LineState& line, Time start) {
  if (line.last_start) {
    const double gap = seconds_between(*line.last_start, start);
    if (line.period_s <= 0) {
      line.period_s = static_cast<float>(gap);
    } else if (gap < 3 * double{line.period_s}) {
      line.period_s += 0.1F * (static_cast<float>(gap) - line.period_s);
    }
  }
  line.last_start = start;
}

void remember_outcome(LineState& line, const HalfCycle& cycle, const TurnFigures& figures, const ControllerSettings& settings) {
  if (cycle.outcome == Outcome::reached || cycle.outcome == Outcome::not_reached)
    line.misses = static_cast<std::uint8_t>(line.misses << 1 | (cycle.outcome == Outcome::not_reached ? 1 : 0));
  if (cycle.residual_bar) line.over_residual = static_cast<std::uint8_t>(line.over_residual << 1 | (*cycle.residual_bar > figures.residual_most_bar ? 1 : 0));
  if (settings.pump_limit_s && *settings.pump_limit_s > 0) {
    // A lone turn far from its neighbours says little of how near the limit is.
    const double drawn_in = figures.time ? std::exp(figures.time->fair_error - figures.time->error) : 1;
    if (cycle.time_to_pressure_s) line.last_share = static_cast<float>(*cycle.time_to_pressure_s * drawn_in / *settings.pump_limit_s);
    if (cycle.outcome == Outcome::not_reached) line.last_share = 1;
  }
  if (figures.time && figures.time->learnt) remember(line.wear, cycle.pump_start, figures.time->fair_error, figures.others_error);
  if (figures.vent && figures.vent->learnt) remember(line.vent_wear, cycle.pump_start, figures.vent->fair_error);
  if (figures.residual && figures.residual->learnt) remember(line.residual_wear, cycle.pump_start, figures.residual->fair_error);
}

// What the plant can bear may be less than what the controller is set to.
ControllerSettings within_the_plant(ControllerSettings settings, const Thresholds& thresholds) {
  if (const auto& limit = thresholds.of(Condition::slow_to_pressure).limit)
    settings.pump_limit_s = settings.pump_limit_s && *settings.pump_limit_s > 0 ? std::min(*settings.pump_limit_s, *limit) : *limit;
  return settings;
}

void on_turn(StationState& state, const HalfCycle& cycle, Time received, const StationContext& context, std::vector<Judgement>& out,
             std::optional<TurnFigures>& told) {
  if (cycle.line < 1 || cycle.line > lines_max) return;
  LineState& line = line_of(state, cycle.line, context);
  const Time judged = judged_at(cycle.pump_stop, received);
  turn_came(state, line, cycle.line, judged, out);
  // Older than what is already judged: it came, no more.
  if (line.last_start && cycle.pump_start <= *line.last_start) return;
  if (cycle.temp_c) feel(state.air, cycle.pump_start, *cycle.temp_c);
  change_settings(state, cycle.settings, cycle.pump_start, context);
  note_period(line, cycle.pump_start);
  if (state.out_of_service) return;
  const bool open_station_wide = state.slow.on || state.quick.on;
  const TurnFigures& figures = told.emplace(take_turn(state, line, cycle, context));
  const ControllerSettings settings = within_the_plant(overlay(context.design.settings, state.settings), context.thresholds);
  remember_outcome(line, cycle, figures, settings);
  judge_line(state, line, {cycle, figures, judged, context, settings}, out);
  follow_repair(state, line, {cycle, figures, judged, context, settings}, out);
  if (open_station_wide && !state.slow.on && !state.quick.on)
    for (LineState& l : state.lines) {
      restart(l.time_chart);
      restart(l.contrast_chart);
    }
}

void on_level(StationState& state, const LevelReading& reading, const StationContext& context) {
  if (reading.temp_c) feel(state.air, reading.time, *reading.temp_c);
  const double low = context.design.low_pct.value_or(low_pct_default);
  if (reading.level_low.value_or(false) || (reading.level_pct && *reading.level_pct < low)) state.last_low = reading.time;
  if (reading.level_pct) state.last_level_pct = static_cast<float>(*reading.level_pct);
}

void on_note(StationState& state, const ServiceNote& note) {
  switch (note.kind) {
    case ServiceKind::refilled: break;
    case ServiceKind::repaired:
    case ServiceKind::purged:
      state.last_repair = note.time;
      for (std::size_t i = 0; i < state.lines.size(); ++i) {
        if (note.line && *note.line != static_cast<int>(i) + 1) continue;
        LineState& line = state.lines[i];
        start_repair_check(state, line, note.time);
      }
      break;
    case ServiceKind::settings_changed: state.last_settings = note.time; break;
    case ServiceKind::out_of_service: state.out_of_service = true; break;
    case ServiceKind::back_in_service:
      state.out_of_service = false;
      for (LineState& line : state.lines) line.last_start.reset();
      break;
  }
}

void on_sensor(StationState& state, const SensorReport& report, Time received, const StationContext& context, std::vector<Judgement>& out) {
  const Time judged = judged_at(report.time, received);
  if (!report.line) return;  // the level sensor is the reservoir's
  Held& held = held_of(line_of(state, std::clamp(*report.line, 1, lines_max), context), LineIssue::sensor);
  if (held.on == !report.over) return;
  held = report.over ? Held{} : Held{.on = true, .urgency = Urgency::plan, .since = judged};
  Finding f;
  f.condition = Condition::doubtful_sensor;
  f.line = report.line;
  f.time = judged;
  f.holds = held.on;
  f.urgency = held.urgency;
  f.causes = {{Cause::pressure_sensor_drift, 1.0}};
  switch (report.trouble) {
    case SensorTrouble::missing: f.reason = "the sensor gives nothing"; break;
    case SensorTrouble::out_of_range: f.reason = "the reading is out of the sensor's range"; break;
    case SensorTrouble::stuck: f.reason = "the reading does not move although the line does"; break;
  }
  if (report.over) f.reason = "the sensor reads sensibly again";
  out.push_back(std::move(f));
}
// A condition that is not watched says nothing, but for the end of what was open when it was still watched.
void drop_unwatched(std::vector<Judgement>& out, std::size_t from, const Thresholds& thresholds) {
  out.erase(std::remove_if(out.begin() + static_cast<std::ptrdiff_t>(from), out.end(),
                           [&](const Judgement& judgement) {
                             const auto* finding = std::get_if<Finding>(&judgement);
                             return finding != nullptr && finding->holds &&
                                    !thresholds.conditions[static_cast<std::size_t>(finding->condition)].watched;
                           }),
            out.end());
}
}  // namespace

void judge(StationState& state, const StationEvent& event, Time received, const StationContext& context, std::vector<Judgement>& out) {
  std::optional<TurnFigures> figures;
  judge(state, event, received, context, out, figures);
}

void judge(StationState& state, const StationEvent& event, Time received, const StationContext& context, std::vector<Judgement>& out,
           std::optional<TurnFigures>& figures) {
  figures.reset();
  struct Visitor {
    StationState& state;
    Time received;
    const StationContext& context;
    std::vector<Judgement>& out;
    std::optional<TurnFigures>& figures;

    void operator()(const HalfCycle& cycle) const {
      hear(state, received, std::nullopt, cycle.arrival == Arrival::late, context, out);
      reservoir::take(state.reservoir, cycle, received, reservoir_context(context), out);
      on_turn(state, cycle, received, context, out, figures);
    }
    void operator()(const LevelReading& reading) const {
      on_level(state, reading, context);
      reservoir::take(state.reservoir, reading, received, reservoir_context(context), out);
    }
    void operator()(const ServiceNote& note) const {
      on_note(state, note);
      reservoir::take(state.reservoir, note, received, reservoir_context(context), out);
    }
    void operator()(const SettingsChange& change) const { change_settings(state, change.after, change.time, context); }
    void operator()(const PresenceChange& presence) const { hear_presence(state, presence, received); }
    void operator()(const SensorReport& report) const {
      on_sensor(state, report, received, context, out);
      reservoir::take(state.reservoir, report, received, reservoir_context(context), out);
    }
    void operator()(const Heartbeat& beat) const {
      const bool late = seconds_between(beat.time, received) > late_after_s;
      hear(state, received, beat.time, late, context, out);
      if (!late) judge_missed(state, beat.time, received, context, out);
    }
    void operator()(const UnusableMessage&) const { hear_unusable(state, received, out); }
  };
  const std::size_t before = out.size();
  std::visit(Visitor{state, received, context, out, figures}, event);
  judge_silence(state, received, context, out);
  drop_unwatched(out, before, context.thresholds);
}

std::optional<Time> wake_at(const StationState& state) {
  const auto silence = silent_at(state);
  const auto reservoir = reservoir::wake_at(state.reservoir);
  if (!silence || !reservoir) return silence ? silence : reservoir;
  return std::min(*silence, *reservoir);
}

void advance_to(StationState& state, Time now, const StationContext& context, std::vector<Judgement>& out) {
  // Called late it gives what calling it at each wake_at would have given: in the order of their times.
  const std::size_t before = out.size();
  const auto silence = silent_at(state);
  if (silence && *silence <= now) {
    reservoir::advance_to(state.reservoir, *silence, reservoir_context(context), out);
    judge_silence(state, now, context, out);
  }
  reservoir::advance_to(state.reservoir, now, reservoir_context(context), out);
  drop_unwatched(out, before, context.thresholds);
}

}  // namespace driftline::rules
