// Rows with every field given, and batches of them.
#pragma once

#include "gateway/history/batch.h"
#include "gateway/history/message_rows.h"

namespace driftline::history {

inline StationId station_id(int number) { return {"site-" + std::to_string(number % 3), "ps-" + std::to_string(number)}; }

// Differs in every field from the row of another `number`.
inline HalfCycleRow half_cycle_row(int number) {
  const double n = number;
  HalfCycle h;
  h.line = 1 + number % lines_max;
  h.pump_start = time_from_ms(1'772'344'800'000 + number * 600'000LL);
  h.pump_stop = h.pump_start + std::chrono::milliseconds{212'345 + number};
  h.outcome = static_cast<Outcome>(number % 4);
  h.time_to_pressure_s = 200.0 + n / 7.0;
  h.time_to_pressure_error_s = 0.01 + n / 1000.0;
  h.pump_run_s = 212.345 + n / 1000.0;
  h.peak_bar = 190.5 + n / 3.0;
  h.residual_bar = 4.5 + n;
  h.vent_s = 21.0 + n;
  h.level_pct = 71.25 - n / 100.0;
  h.temp_c = -12.5 + n;
  h.samples = 2'000 + number;
  h.largest_gap_s = 0.3 + n;
  h.settings = {1'200.0 + n, 400.0 + n, 185.0 + n, 10.0 + n, 2 + number % 5};
  for (int i = 0; i < 12; ++i) h.shape.curve.push_back({i * 1.1 + n, 12.4 * i / 10.0});
  h.shape.soft_start_s = 1.5 + n;
  h.shape.plateau_start_s = 30.25 + n;
  h.shape.plateau_s = 140.125 + n;
  h.shape.plateau_bar = 88.8 + n;
  h.shape.steep_bar_per_s = 2.2 + n / 9.0;
  h.shape.run_on_s = 3.3 + n;
  h.vent_floor_bar = 2.0 + n;
  h.others_start_bar[1] = 3.5 + n;
  h.others_start_bar[7] = 1.0 / 3.0 + n;
  h.others_stop_bar[0] = -0.2 + n;
  h.off_schedule = number % 2 == 0;
  h.clock_stepped = number % 3 == 0;
  h.arrival = number % 5 == 0 ? Arrival::late : Arrival::live;
  const auto thousandths = [](int whole) { return whole / 1000.0; };
  TurnUsual usual{UsualFigure{thousandths(201'513 + number), thousandths(1'125 + number)},
                  UsualFigure{thousandths(189'001 + number), thousandths(750 + number)},
                  UsualFigure{thousandths(-4'002 + number), thousandths(501 + number)},
                  UsualFigure{thousandths(20'999 + number), thousandths(2'001 + number)}};
  if (number % 4 == 1) usual.peak_bar.reset();
  return {station_id(number), h, usual};
}

inline WarningChange warning_change(int number, Change change = Change::raised) {
  WarningChange w;
  w.time = time_from_ms(1'772'344'800'000 + number * 1'000LL);
  w.station = station_id(number);
  if (number % 2 == 0) w.line = 1 + number % lines_max;
  w.condition = static_cast<Condition>(static_cast<std::size_t>(number) % condition_count);
  w.urgency = static_cast<Urgency>(number % 3);
  w.change = change;
  w.causes = {{Cause::slow_leak, 1.0 / 3.0}, {static_cast<Cause>(static_cast<std::size_t>(number) % cause_count), 2.0 / 3.0}};
  if (number % 3 != 0) {
    w.forecast = {w.time + std::chrono::hours{240 + number}, w.time + std::chrono::hours{120}, w.time + std::chrono::hours{900}};
    w.shift = FigureShift{"time_to_pressure_s", 240.1, 212.0 + number, 3.3, 300.0, time_from_ms(number), number};
  }
  if (number % 4 != 0) {
    w.evidence.push_back({"vent_s", 21.5 + number / 7.0, 14.25, time_from_ms(1'772'000'000'000 + number), "the vent time is up by 42 %"});
    w.evidence.push_back({"", std::nullopt, std::nullopt, std::nullopt, "the other lines did not move with it"});
  }
  w.text = "line 1 of ps-" + std::to_string(number) + " fills slower; look for \"grease\"\n";
  return w;
}

inline ReservoirDay reservoir_day(int number) {
  return {time_from_ms(1'772'323'200'000 + number * 86'400'000LL), station_id(number), 70.5 - number, 0.8, 44.4, std::nullopt,
          50.0 + number};
}

inline ForecastDay forecast_day(int number) {
  const Time date = time_from_ms(1'772'323'200'000 + number * 86'400'000LL);
  return {date, station_id(number), 1 + number % lines_max, Condition::slow_vent,
          {date + std::chrono::hours{300}, std::nullopt, date + std::chrono::hours{900 + number}}};
}

inline FaultRow fault_row(int number) {
  FaultRow f;
  f.received = time_from_ms(1'772'344'800'000 + number);
  f.topic = "grease/x/y/telemetry";
  if (number % 2 == 0) f.station = station_id(number);
  f.fault = {static_cast<FaultCode>(static_cast<std::size_t>(number) % fault_code_count), "/pressure_bar/1",
             "\"12,4\" is text", "a number, bar gauge: 12.4"};
  return f;
}

inline OutgoingRow outgoing_row(int number) {
  return {time_from_ms(number), "mqtt", "driftline/warnings/" + std::to_string(number), std::string{"{\"a\":\"\0\"}", 9}};
}

// What the rules were fed of message `number`, the turn of half_cycle_row(number) among it; kinds and figures differ.
inline std::vector<FedRow> fed_rows(int number) {
  const Time at = time_from_ms(1'772'344'900'000 + number * 60'000LL);
  const StationId id = station_id(number);
  const auto position = static_cast<std::uint64_t>(number) + 1;
  const ControllerSettings before{2880, std::nullopt, 180.5, std::nullopt, 2};
  const ControllerSettings after{2880.25, 240, std::nullopt, 1.0 / 3.0, std::nullopt};
  return {
      {id, {at, settled_by_waiting, TurnTold{}}},
      {id, {at, position, LevelReading{at - std::chrono::milliseconds{310 + number}, 70.5 - number, number % 2 == 0, std::nullopt, true}}},
      {id, {at, position, LevelReading{at, 1.0 / 3.0, std::nullopt, -7.25, number % 2 == 0}}},
      {id, {at, position, ServiceNote{at - std::chrono::hours{2}, static_cast<ServiceKind>(number % 6),
                                      number % 2 == 0 ? std::optional<int>(2) : std::nullopt, "hose \"2\" renewed\n", number % 2 == 0 ? "" : "A. \"Fitter\""}}},
      {id, {at, position, SettingsChange{at, before, after}}},
      {id, {at, position, PresenceChange{at, number % 2 == 0}}},
      {id, {at, position, SensorReport{at, std::nullopt, static_cast<SensorTrouble>(number % 3), number % 2 == 1}}},
      {id, {at, settled_by_the_end, Heartbeat{at, at + std::chrono::milliseconds{number - 20}}}},
  };
}

inline RolloutRow rollout_row(int number) {
  return {"2026-03-0" + std::to_string(1 + number), number, time_from_ms(1'772'344'800'000 + number), "in-force", "an engineer",
          "calls at \"night\"", "kind twin", R"({"plan_days":21})"};
}

inline MessageRow message_row(int number) {
  MessageRow row;
  row.key = "key " + std::to_string(number);
  row.made = time_from_ms(1'772'344'800'000 + number);
  row.due = row.made + std::chrono::seconds{60};
  row.person = "anna";
  row.channel = "mail";
  row.address = "anna@plant.example";
  row.kind = static_cast<MessageKind>(static_cast<std::size_t>(number) % message_kind_count);
  row.step = number;
  if (number % 2 == 0) row.warning = WarningRef{station_id(number), number % 4 == 0 ? std::optional{2} : std::nullopt, Condition::slow_vent};
  row.urgency = static_cast<Urgency>(number % 3);
  row.raised = time_from_ms(1'772'344'700'000 + number);
  row.warning_id = number;
  row.subject = "subject";
  row.body = "two\nlines";
  return row;
}

inline SessionRow session_row(int number) {
  return {"hash " + std::to_string(number), "anna", "hash of a hash", "token", time_from_ms(1'772'344'800'000 + number),
          time_from_ms(1'772'344'900'000 + number)};
}

// One of everything, of message `number` of the journal.
inline Batch batch_of(int number) {
  Batch batch;
  const auto position = static_cast<std::uint64_t>(number) + 1;
  batch.half_cycles = {half_cycle_row(number)};
  batch.fed = fed_rows(number);
  batch.warnings = {warning_change(number)};
  batch.reservoir_days = {reservoir_day(number)};
  batch.forecast_days = {forecast_day(number)};
  batch.faults = {fault_row(number)};
  batch.outgoing = {outgoing_row(number)};
  batch.station_states = {{station_id(number), position, "state of station after " + std::to_string(number)}};
  batch.site_states = {{station_id(number).site, position, std::string{"\0\1\2", 3}}};
  batch.resume_from = batch.taken_to = position;
  return batch;
}

}  // namespace driftline::history
