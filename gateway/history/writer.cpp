#include "gateway/history/writer.h"

#include <sqlite3.h>

#include <algorithm>
#include <deque>
#include <map>

#include "gateway/history/events.h"
#include "gateway/history/limits.h"
#include "gateway/history/schema.h"

namespace driftline::history {
namespace {

// A Database whose schema is in place, so that statements can be prepared in the initialisers that follow.
struct Prepared {
  explicit Prepared(Database& database) { prepare_for_writing(database); }
};

}  // namespace

Writer::Writer(const std::string& file)
    : database(file, Database::Mode::write),
      stations((Prepared(database), database)),
      half_cycles(database),
      fed(database),
      service_notes(database),
      warnings(database),
      lives(database),
      messages(database),
      reservoir_days(database),
      forecast_days(database),
      faults(database),
      outgoing(database),
      refused(database),
      states(database),
      rollouts(database),
      sessions(database),
      cursors(database) {}

std::uint64_t Writer::commits() {
  return static_cast<std::uint64_t>(database.number("SELECT commits FROM progress"));
}

void Writer::put(const Batch& batch, std::uint64_t commits) {
  put_turns_and_what_was_fed(batch);
  for (const WarningChange& row : batch.warnings) {
    const std::int64_t station_no = stations.number_of(row.station);
    const std::int64_t id = warnings.put(database, station_no, row);
    lives.take(database, station_no, row, id);
  }
  for (const ReservoirDay& row : batch.reservoir_days) reservoir_days.put(stations.number_of(row.station), row);
  for (const ForecastDay& row : batch.forecast_days) forecast_days.put(stations.number_of(row.station), row);
  for (const FaultRow& row : batch.faults) faults.put(row);
  for (const OutgoingRow& row : batch.outgoing) outgoing.put(row);
  for (const StationStateRow& row : batch.station_states) states.put(stations.number_of(row.station), row);
  for (const SiteStateRow& row : batch.site_states) states.put(row);
  states.put_progress(batch.resume_from, batch.taken_to, commits);
}

// A fed turn is kept as the id of its half-cycle.
void Writer::put_turns_and_what_was_fed(const Batch& batch) {
  std::map<std::int64_t, std::deque<std::int64_t>> told;  // ids by station
  for (const HalfCycleRow& row : batch.half_cycles) {
    const std::int64_t station_no = stations.number_of(row.station);
    half_cycles.put(station_no, row);
    if (!batch.fed.empty()) told[station_no].push_back(database.last_id());
  }
  for (const FedRow& row : batch.fed) {
    const std::int64_t station_no = stations.number_of(row.station);
    std::int64_t half_cycle_id = 0;
    if (std::holds_alternative<TurnTold>(row.event.body)) {
      std::deque<std::int64_t>& ids = told[station_no];
      if (ids.empty()) throw StoreError(SQLITE_MISUSE, "a turn was fed to the rules that is not in the batch");
      half_cycle_id = ids.front();
      ids.pop_front();
    }
    if (const auto* note = std::get_if<ServiceNote>(&row.event.body))
      service_notes.put(station_no, *note, row.event.received);
    fed.put(station_no, row.event, half_cycle_id);
  }
  fed.flush(database);
}

bool Writer::retire(const HistorySettings& settings, Time now) {
  const std::int64_t most =
      std::max({retire_slice(Feed::half_cycles, "pump_start", now - settings.keep_half_cycles),
                retire_slice(Feed::warnings, "time", now - settings.keep_warnings),
                retire_slice(Feed::reservoir_days, "date", now - settings.keep_reservoir_days),
                retire_slice(Feed::forecast_days, "date", now - settings.keep_forecast_days),
                retire_slice(Feed::faults, "received", now - settings.keep_faults),
                retire_slice(Feed::outgoing, "time", now - settings.keep_outgoing),
                retire_slice(Feed::life_changes, "time", now - settings.keep_warnings)});
  database.prepare("DELETE FROM messages WHERE made < ? AND state <> 'waiting' AND id < (SELECT max(id) FROM messages)")
      .run(now - settings.keep_outgoing);
  database
      .prepare("DELETE FROM refused WHERE time < ? AND id < (SELECT max(id) FROM refused)")
      .run(now - settings.keep_refused);
  retire_fed("fed_events", "last", now - settings.keep_half_cycles);
  retire_fed("service_notes", "time", now - settings.keep_warnings);
  if (most > 0) database.execute(("PRAGMA incremental_vacuum(" + std::to_string(vacuum_slice_pages) + ")").c_str());
  return most >= retention_slice_rows;
}

// What no cursor follows: the oldest rows, but never the newest.
void Writer::retire_fed(const char* table, const char* time_column, Time before) {
  const std::string name(table);
  Statement slice = database.prepare("DELETE FROM " + name + " WHERE id IN (SELECT id FROM (SELECT id, " + time_column +
                                     " AS at FROM " + name + " WHERE id < (SELECT max(id) FROM " + name +
                                     ") ORDER BY id LIMIT ?) WHERE at < ?)");
  slice.run(retention_slice_rows, before);
  if (const std::int64_t rows = database.changes(); rows > 0) events::rows_retired(name, rows);
}

// The oldest rows that are past their age; never the newest of a table, whose id must not come again, never one that a
// cursor has yet to pass, never one behind an open warning.
std::int64_t Writer::retire_slice(Feed feed, const char* time_column, Time before) {
  const std::string table(name_of(feed));
  const std::string spare =
      feed == Feed::warnings ? " AND id NOT IN (SELECT warning_id FROM open_warnings UNION SELECT warning_id FROM lives)" : "";
  Statement slice = database.prepare(
      "DELETE FROM " + table + " WHERE id IN (SELECT id FROM (SELECT id, " + time_column + " AS at FROM " + table +
      " WHERE id < (SELECT max(id) FROM " + table + ")" + spare + " ORDER BY id LIMIT ?) WHERE at < ?" +
      " AND id <= coalesce((SELECT min(id) FROM cursors WHERE feed = ?), 9223372036854775807))");
  slice.run(retention_slice_rows, before, name_of(feed));
  const std::int64_t rows = database.changes();
  if (rows > 0) events::rows_retired(table, rows);

  Statement held = database.prepare("SELECT name FROM cursors WHERE feed = ? AND id < (SELECT min(id) FROM " + table +
                                    " WHERE id < (SELECT max(id) FROM " + table + ")" + spare + ") AND (SELECT " +
                                    time_column + " FROM " + table + " ORDER BY id LIMIT 1) < ? ORDER BY id LIMIT 1");
  held.begin(name_of(feed), before);
  if (held.step()) events::retention_waits(held.take<std::string>(), table);
  return rows;
}

}  // namespace driftline::history
