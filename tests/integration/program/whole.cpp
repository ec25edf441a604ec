#include "tests/integration/program/whole.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <stdexcept>

#include "gateway/history/reader.h"
#include "gateway/history/row_text.h"
#include "gateway/journal/reader.h"
#include "rules/records/time_text.h"

namespace driftline::testing {
namespace {

std::string journal_folder(const std::string& data_folder) {
  return data_folder + "/journal";
}

// Every row of one feed.
template <class Row, class Append>
void collect(history::Reader& reader, history::Rows<Row> (history::Reader::*ask)(std::int64_t, int),
             Append append) {
  for (std::int64_t after = 0;;) {
    const auto rows = (reader.*ask)(after, 10'000);
    if (!rows) throw std::runtime_error(rows.error().text);
    if (rows->empty()) return;
    for (const auto& stored : *rows) append(stored.row);
    after = rows->back().id;
  }
}

void sort_all(RowTexts& texts) {
  for (auto& [file, lines] : texts) std::sort(lines.begin(), lines.end());
}

template <class... Arguments>
void add(RowTexts& texts, const char* file, const Arguments&... row) {
  std::string text;
  append_row(text, row...);
  texts[file].push_back(std::move(text));
}

// No row of replay shows it, and the history must hold it as it was judged all the same.
std::string usual_text(const HalfCycle& turn, const TurnUsual& usual) {
  std::string text = std::to_string(turn.line) + " " + rfc3339(turn.pump_start);
  for (const auto& figure : {usual.time_to_pressure_s, usual.peak_bar, usual.residual_bar, usual.vent_s})
    text += figure ? " " + std::to_string(figure->expected) + " " + std::to_string(figure->deviation) : " -";
  return text;
}

void add(RowTexts& texts, const Judged& judged) {
  for (const auto& row : judged.half_cycles) {
    add(texts, "half-cycles", row.station, row.half_cycle);
    texts["usual"].push_back(usual_text(row.half_cycle, row.usual));
  }
  for (const auto& row : judged.warnings) add(texts, "warnings", row);
  for (const auto& row : judged.reservoirs) add(texts, "reservoirs", row);
  for (const auto& row : judged.forecasts) add(texts, "forecasts", row);
  for (const auto& row : judged.faults) add(texts, "faults", row.received, row.topic, row.station, row.fault);
}

template <class Each>
void each_in_journal(const std::string& data_folder, Each each) {
  auto opened = journal::Journal::open({.directory = journal_folder(data_folder)});
  if (!opened) throw std::runtime_error(opened.error());
  journal::Reader reader(**opened, 1);
  for (auto records = reader.read({}, {}); !records.empty(); records = reader.read({}, {})) each(records);
}

}  // namespace

GatewaySettings settings_for(std::uint16_t port, const std::string& data_folder) {
  GatewaySettings settings;
  settings.broker.port = port;
  settings.broker.client_id = "gate-1";
  settings.broker.retry_s_max = 1;
  settings.broker.keep_alive_s = 10;
  settings.store.data_folder = data_folder;
  return settings;
}

RowTexts rows_in_history(const std::string& data_folder) {
  auto reader = history::Reader::open(data_folder + "/history.db");
  if (!reader) throw std::runtime_error(reader.error().text);
  RowTexts texts;
  collect(**reader, &history::Reader::half_cycles_after,
          [&](const history::HalfCycleRow& row) {
            add(texts, "half-cycles", row.station, row.half_cycle);
            texts["usual"].push_back(usual_text(row.half_cycle, row.usual));
          });
  collect(**reader, &history::Reader::warnings_after,
          [&](const WarningChange& row) { add(texts, "warnings", row); });
  collect(**reader, &history::Reader::reservoir_days_after,
          [&](const ReservoirDay& row) { add(texts, "reservoirs", row); });
  collect(**reader, &history::Reader::forecast_days_after,
          [&](const ForecastDay& row) { add(texts, "forecasts", row); });
  collect(**reader, &history::Reader::faults_after, [&](const history::FaultRow& row) {
    add(texts, "faults", row.received, row.topic, row.station, row.fault);
  });
  sort_all(texts);
  return texts;
}

RowTexts rows_from_journal(const std::string& data_folder, const PlantSettings& settings,
                           std::optional<Time> until) {
  Plant plant(settings);
  RowTexts texts;
  each_in_journal(data_folder, [&](std::span<const journal::RecordView> records) {
    std::vector<PlantMessage> messages;
    for (const auto& record : records)
      messages.push_back(
          {record.position, {record.received, std::string(record.topic), std::string(record.payload)}});
    add(texts, plant.judge(messages));
  });
  if (until) add(texts, plant.advance_to(*until));
  sort_all(texts);
  return texts;
}

std::vector<Message> journal_of(const std::string& data_folder) {
  std::vector<Message> all;
  each_in_journal(data_folder, [&](std::span<const journal::RecordView> records) {
    for (const auto& record : records)
      all.push_back({record.received, std::string(record.topic), std::string(record.payload)});
  });
  return all;
}

Sent sample(int n, int stations, std::int64_t start_ms) {
  constexpr int turn_every_s = 60, pump_s = 20;
  const int station = n % stations;
  const int second = n / stations;
  const int within = (second + 7 * station) % turn_every_s;
  const int line = (second + 7 * station) / turn_every_s % 2 + 1;
  const double bar = within < pump_s ? 4.0 + 180.0 * std::pow(within / 18.0, 1.5)
                                     : 4.0 + 180.0 * std::exp(-(within - pump_s) / 3.0);
  char payload[256];
  std::snprintf(payload, sizeof(payload),
                R"({"time":%lld,"seq":%d,"pump":%s,"line":%d,"pressure_bar":[%.2f,%.2f],"level_pct":%.1f})",
                static_cast<long long>(start_ms) + second * 1000LL, second,
                within < pump_s ? "true" : "false", line, line == 1 ? bar : 4.0, line == 2 ? bar : 4.0,
                80.0 - second / 3600.0);
  return {"grease/northyard/ps-" + std::to_string(station) + "/telemetry", payload};
}

Sent settings_message(int station) {
  return {"grease/northyard/ps-" + std::to_string(station) + "/settings",
          R"({"cycle_s":120,"pump_limit_s":40,"target_bar":180,"residual_bar":20,"lines":2})"};
}

}  // namespace driftline::testing
