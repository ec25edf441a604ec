#include "gateway/history/schema.h"

#include <array>
#include <iterator>
#include <string>

#include <sqlite3.h>

#include "gateway/history/database.h"

namespace driftline::history {
namespace {

constexpr std::int64_t application = 0x64726674;  // "drft": what the file calls itself

// Words of the vocabulary stand as text, so that no renumbering can change what is stored. Times: ms since 1970.
// Steps are never edited once released. A new one: append it, raise schema_version, then let tests/unit/history/schema_test.cpp
// write the file of the new version (DRIFTLINE_UPDATE=1); the files of the versions before stay as they are.
constexpr std::array<const char*, schema_version> steps{R"sql(
CREATE TABLE stations (
  no INTEGER PRIMARY KEY, site TEXT NOT NULL, station TEXT NOT NULL, UNIQUE (site, station)) STRICT;

CREATE TABLE half_cycles (
  id INTEGER PRIMARY KEY, station_no INTEGER NOT NULL REFERENCES stations, line INTEGER NOT NULL,
  pump_start INTEGER NOT NULL, pump_stop INTEGER NOT NULL, outcome TEXT NOT NULL,
  time_to_pressure_s REAL, time_to_pressure_error_s REAL, pump_run_s REAL, peak_bar REAL, residual_bar REAL,
  vent_s REAL, level_pct REAL, temp_c REAL, samples INTEGER NOT NULL, largest_gap_s REAL,
  set_cycle_s REAL, set_pump_limit_s REAL, set_target_bar REAL, set_residual_bar REAL, set_lines INTEGER,
  curve BLOB, soft_start_s REAL, plateau_start_s REAL, plateau_s REAL, plateau_bar REAL, steep_bar_per_s REAL,
  run_on_s REAL, vent_floor_bar REAL, others_bar BLOB,
  off_schedule INTEGER NOT NULL, clock_stepped INTEGER NOT NULL, late INTEGER NOT NULL) STRICT;
CREATE INDEX half_cycles_by_station ON half_cycles (station_no, pump_start);

CREATE TABLE warnings (
  id INTEGER PRIMARY KEY, time INTEGER NOT NULL, station_no INTEGER NOT NULL REFERENCES stations, line INTEGER,
  condition TEXT NOT NULL, urgency TEXT NOT NULL, change TEXT NOT NULL, causes TEXT NOT NULL,
  limit_at INTEGER, limit_at_earliest INTEGER, limit_at_latest INTEGER,
  figure TEXT, figure_value REAL, figure_usual REAL, figure_spread REAL, figure_limit REAL, figure_since INTEGER,
  figure_turns INTEGER, text TEXT NOT NULL) STRICT;
CREATE INDEX warnings_by_station ON warnings (station_no, time);
CREATE TABLE open_warnings (
  station_no INTEGER NOT NULL, line INTEGER NOT NULL, condition TEXT NOT NULL, warning_id INTEGER NOT NULL,
  PRIMARY KEY (station_no, line, condition)) STRICT, WITHOUT ROWID;

CREATE TABLE reservoir_days (
  id INTEGER PRIMARY KEY, date INTEGER NOT NULL, station_no INTEGER NOT NULL REFERENCES stations,
  level_pct REAL, use_pct_per_day REAL, life_days REAL, life_days_low REAL, life_days_high REAL) STRICT;
CREATE INDEX reservoir_days_by_station ON reservoir_days (station_no, date);

CREATE TABLE forecast_days (
  id INTEGER PRIMARY KEY, date INTEGER NOT NULL, station_no INTEGER NOT NULL REFERENCES stations, line INTEGER,
  condition TEXT NOT NULL, limit_at INTEGER, limit_at_earliest INTEGER, limit_at_latest INTEGER) STRICT;
CREATE INDEX forecast_days_by_station ON forecast_days (station_no, date);

CREATE TABLE faults (
  id INTEGER PRIMARY KEY, received INTEGER NOT NULL, topic TEXT NOT NULL, site TEXT, station TEXT,
  code TEXT NOT NULL, pointer TEXT NOT NULL, why TEXT NOT NULL, remedy TEXT NOT NULL) STRICT;

CREATE TABLE outgoing (
  id INTEGER PRIMARY KEY, time INTEGER NOT NULL, channel TEXT NOT NULL, address TEXT NOT NULL,
  body TEXT NOT NULL) STRICT;

CREATE TABLE station_states (
  station_no INTEGER PRIMARY KEY REFERENCES stations, position INTEGER NOT NULL, bytes BLOB NOT NULL) STRICT;
CREATE TABLE site_states (site TEXT PRIMARY KEY, position INTEGER NOT NULL, bytes BLOB NOT NULL) STRICT;
CREATE TABLE progress (
  one INTEGER PRIMARY KEY CHECK (one = 1), resume_from INTEGER NOT NULL, taken_to INTEGER NOT NULL,
  commits INTEGER NOT NULL) STRICT;
INSERT INTO progress VALUES (1, 0, 0, 0);

CREATE TABLE cursors (
  name TEXT NOT NULL, feed TEXT NOT NULL, id INTEGER NOT NULL, PRIMARY KEY (name, feed)) STRICT, WITHOUT ROWID;
CREATE TABLE refused (
  id INTEGER PRIMARY KEY, cursor TEXT NOT NULL, feed TEXT NOT NULL, row_id INTEGER NOT NULL, time INTEGER NOT NULL,
  status INTEGER NOT NULL, sent TEXT NOT NULL, answer TEXT NOT NULL) STRICT;
)sql",
                                                               // 2: what the rules were fed, and what people noted
                                                               R"sql(
CREATE TABLE fed_events (
  id INTEGER PRIMARY KEY, station_no INTEGER NOT NULL REFERENCES stations, first INTEGER NOT NULL,
  last INTEGER NOT NULL, events INTEGER NOT NULL, deflated INTEGER NOT NULL, bytes BLOB NOT NULL) STRICT;
CREATE INDEX fed_events_by_station ON fed_events (station_no, first);

CREATE TABLE service_notes (
  id INTEGER PRIMARY KEY, station_no INTEGER NOT NULL REFERENCES stations, time INTEGER NOT NULL,
  received INTEGER NOT NULL, kind TEXT NOT NULL, line INTEGER, note TEXT NOT NULL) STRICT;
CREATE INDEX service_notes_by_station ON service_notes (station_no, time);
)sql",
                                                               // 3: what each turn was held against, and its standard
                                                               // deviation, in thousandths: two or three bytes each
                                                               R"sql(
ALTER TABLE half_cycles ADD COLUMN usual_time_to_pressure_ms INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_time_to_pressure_sd_ms INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_peak_mbar INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_peak_sd_mbar INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_residual_mbar INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_residual_sd_mbar INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_vent_ms INTEGER;
ALTER TABLE half_cycles ADD COLUMN usual_vent_sd_ms INTEGER;
)sql",
                                                               // 4: what speaks for a warning's first cause
                                                               R"sql(
ALTER TABLE warnings ADD COLUMN evidence TEXT NOT NULL DEFAULT '';
)sql",
                                                      // 5: the life of a warning. What is open is unacknowledged.
                                                      R"sql(
CREATE TABLE lives (
  station_no INTEGER NOT NULL REFERENCES stations, line INTEGER NOT NULL, condition TEXT NOT NULL,
  active INTEGER NOT NULL, acknowledged INTEGER NOT NULL, latched INTEGER NOT NULL, urgency TEXT NOT NULL,
  raised INTEGER NOT NULL, owner TEXT NOT NULL, shelf_until INTEGER, shelf_who TEXT, shelf_urgency TEXT,
  suppressed INTEGER NOT NULL, out_of_service_by TEXT NOT NULL, warning_id INTEGER NOT NULL,
  PRIMARY KEY (station_no, line, condition)) STRICT, WITHOUT ROWID;
INSERT INTO lives
  SELECT o.station_no, o.line, o.condition, 1, 0, 0, w.urgency,
         (SELECT max(time) FROM warnings r WHERE r.station_no = o.station_no AND coalesce(r.line, 0) = o.line
            AND r.condition = o.condition AND r.change = 'raised'),
         '', NULL, NULL, NULL, 0, '', o.warning_id
  FROM open_warnings o JOIN warnings w ON w.id = o.warning_id;
UPDATE lives SET suppressed = 1 WHERE condition <> 'station-silent' AND station_no IN
  (SELECT station_no FROM lives WHERE condition = 'station-silent');

CREATE TABLE life_changes (
  id INTEGER PRIMARY KEY, time INTEGER NOT NULL, station_no INTEGER NOT NULL REFERENCES stations, line INTEGER NOT NULL,
  condition TEXT NOT NULL, event TEXT NOT NULL, before TEXT NOT NULL, after TEXT NOT NULL, urgency TEXT NOT NULL,
  raised INTEGER NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, via TEXT NOT NULL, owner TEXT NOT NULL, until INTEGER,
  warning_id INTEGER NOT NULL) STRICT;
CREATE INDEX life_changes_by_warning ON life_changes (station_no, line, condition);
)sql",
                                                      // 6: what was done with thresholds, by whom and why
                                                      R"sql(
CREATE TABLE rollouts (
  id INTEGER PRIMARY KEY, proposal TEXT NOT NULL, number INTEGER NOT NULL, time INTEGER NOT NULL, act TEXT NOT NULL,
  who TEXT NOT NULL, why TEXT NOT NULL, target TEXT NOT NULL, thresholds TEXT NOT NULL, UNIQUE (proposal, number)) STRICT;
)sql",
                                                      // 7: messages to people
                                                      R"sql(
CREATE TABLE messages (
  id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, made INTEGER NOT NULL, due INTEGER NOT NULL, person TEXT NOT NULL,
  channel TEXT NOT NULL, address TEXT NOT NULL, kind TEXT NOT NULL, step INTEGER NOT NULL, site TEXT, station TEXT, line INTEGER,
  condition TEXT, urgency TEXT NOT NULL, raised INTEGER NOT NULL, warning_id INTEGER NOT NULL, subject TEXT NOT NULL,
  body TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL, unsure INTEGER NOT NULL, next_try INTEGER NOT NULL,
  sent INTEGER, sending INTEGER NOT NULL, answer TEXT NOT NULL) STRICT;
CREATE INDEX messages_waiting ON messages (channel, next_try) WHERE state = 'waiting';
)sql",
                                                      // 8: who wrote a note; who is signed in at the page
                                                      R"sql(
ALTER TABLE service_notes ADD COLUMN by TEXT NOT NULL DEFAULT '';
CREATE TABLE sessions (
  hash TEXT PRIMARY KEY, user TEXT NOT NULL, password TEXT NOT NULL, token TEXT NOT NULL, began INTEGER NOT NULL,
  used INTEGER NOT NULL) STRICT, WITHOUT ROWID;
)sql",
                                                      // 9: acts that are asked for again are done once
                                                      R"sql(
ALTER TABLE life_changes ADD COLUMN request TEXT NOT NULL DEFAULT '';
CREATE UNIQUE INDEX life_changes_by_request ON life_changes (request) WHERE request <> '';
)sql"};

// Before anything is written: a file that is not ours must stay as it is.
std::int64_t checked_version(Database& database, std::int64_t newest) {
  const std::int64_t version = database.number("PRAGMA user_version");
  const std::int64_t name = database.number("PRAGMA application_id");
  const bool fresh = version == 0 && database.number("SELECT count(*) FROM sqlite_schema") == 0;
  if (!fresh && name != application)
    throw StoreError(SQLITE_PERM, "this file is not a history of this program; name another file");
  if (version > newest)
    throw StoreError(SQLITE_PERM, "the history has schema version " + std::to_string(version) +
                                      ", this program knows up to " + std::to_string(newest) +
                                      "; run the newer program, or name another file");
  return version;
}

}  // namespace

std::span<const char* const> schema_steps() { return steps; }

void prepare_for_writing(Database& database, std::span<const char* const> all_steps) {
  const std::int64_t version = checked_version(database, std::ssize(all_steps));
  if (version == 0) database.execute("PRAGMA auto_vacuum=INCREMENTAL");
  database.execute(
      "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA secure_delete=OFF; PRAGMA foreign_keys=ON;"
      "PRAGMA journal_size_limit=67108864; PRAGMA cache_size=-16000; PRAGMA temp_store=MEMORY");
  for (std::int64_t at = version; at < std::ssize(all_steps); ++at) {
    const std::string done =
        "PRAGMA application_id=" + std::to_string(application) + "; PRAGMA user_version=" + std::to_string(at + 1) + ";";
    database.execute(
        ("BEGIN IMMEDIATE;" + std::string(all_steps[static_cast<std::size_t>(at)]) + ";" + done + "COMMIT").c_str());
  }
}

void prepare_for_reading(Database& database) {
  database.execute("PRAGMA query_only=ON; PRAGMA cache_size=-8000; PRAGMA temp_store=MEMORY");
  if (const std::int64_t version = checked_version(database, schema_version); version != schema_version)
    throw StoreError(SQLITE_PERM, "the history has schema version " + std::to_string(version) + ", expected " +
                                      std::to_string(schema_version) + "; the writer brings it forward");
}

}  // namespace driftline::history
