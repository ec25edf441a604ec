#include "gateway/app/row_files.h"

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <numeric>
#include <system_error>

#include "gateway/history/row_text.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

enum File : std::size_t { half_cycles, warnings, reservoirs, forecasts, faults };
constexpr std::array<const char*, 5> file_names{"half-cycles.ndjson", "warnings.ndjson", "reservoirs.ndjson",
                                                "forecasts.ndjson", "faults.ndjson"};

// Times sort as text when they have the same length; years outside 0..9999 cannot come through the decoder.
std::string key_of(Time time, const StationId& station, std::optional<int> line, std::string_view what) {
  std::string key = rfc3339(time);
  key.append("\x01").append(station.site).append("\x01").append(station.station).append("\x01");
  key.append(line ? std::to_string(*line) : "").append("\x01").append(what);
  return key;
}

std::vector<const RowFiles::Row*> in_order(const std::vector<RowFiles::Row>& rows) {
  std::vector<const RowFiles::Row*> order(rows.size());
  std::transform(rows.begin(), rows.end(), order.begin(), [](const RowFiles::Row& row) { return &row; });
  std::stable_sort(order.begin(), order.end(),
                   [](const RowFiles::Row* a, const RowFiles::Row* b) { return a->key < b->key; });
  return order;
}

// Written beside its place and then put there, so that a reader never meets half a file.
std::optional<std::string> write_file(const std::filesystem::path& file, const std::vector<RowFiles::Row>& rows) {
  const std::filesystem::path beside = file.string() + ".part";
  {
    std::ofstream out(beside, std::ios::binary | std::ios::trunc);
    for (const RowFiles::Row* row : in_order(rows)) out << row->text;
    out.flush();
    if (!out) return "cannot write " + beside.string() + ": is the folder writable and the disk not full?";
  }
  std::error_code failed;
  std::filesystem::rename(beside, file, failed);
  if (failed) return "cannot put " + file.string() + " in place: " + failed.message();
  return std::nullopt;
}

}  // namespace

void RowFiles::add(const Judged& judged) {
  const auto put = [this](File file, std::string key, auto&&... row) {
    std::string text;
    append_row(text, row...);
    rows_[file].push_back({std::move(key), std::move(text)});
  };
  for (const auto& row : judged.half_cycles)
    put(half_cycles, key_of(row.half_cycle.pump_start, row.station, row.half_cycle.line, ""), row.station, row.half_cycle);
  for (const auto& row : judged.warnings)
    put(warnings, key_of(row.time, row.station, row.line, name_of(row.condition)), row);
  for (const auto& row : judged.reservoirs) put(reservoirs, key_of(row.date, row.station, {}, ""), row);
  for (const auto& row : judged.forecasts)
    put(forecasts, key_of(row.date, row.station, row.line, name_of(row.condition)), row);
  for (const auto& row : judged.faults)
    put(faults, key_of(row.received, row.station.value_or(StationId{}), {}, row.topic), row.received, row.topic, row.station,
        row.fault);
}

std::optional<std::string> RowFiles::write(const std::filesystem::path& folder) const {
  std::error_code failed;
  std::filesystem::create_directories(folder, failed);
  if (failed) return "cannot make the folder " + folder.string() + ": " + failed.message();
  for (std::size_t file = 0; file < rows_.size(); ++file)
    if (auto why = write_file(folder / file_names[file], rows_[file])) return why;
  return std::nullopt;
}

std::vector<std::pair<std::string, std::string>> RowFiles::texts() const {
  std::vector<std::pair<std::string, std::string>> texts;
  for (std::size_t file = 0; file < rows_.size(); ++file) {
    std::string text;
    for (const Row* row : in_order(rows_[file])) text += row->text;
    texts.emplace_back(file_names[file], std::move(text));
  }
  return texts;
}

}  // namespace driftline
