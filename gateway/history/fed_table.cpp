// What the rules were fed. The newest chunk of each station is open: what comes is put into it and its row is written anew,
// until it has its size; then it is deflated and the next begins. A restart, or a transaction that was undone, begins a new
// one, so that nothing has to be read before something is written.
#include <sqlite3.h>

#include "gateway/history/limits.h"
#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {

FedTable::FedTable(Database& database)
    : insert(database.prepare("INSERT INTO fed_events (station_no, first, last, events, deflated, bytes)"
                              " VALUES (?,?,?,?,?,?)")),
      update(database.prepare("UPDATE fed_events SET last = ?, events = ?, deflated = ?, bytes = ? WHERE id = ?")) {}

void FedTable::put(std::int64_t station_no, const FedEvent& event, std::int64_t half_cycle_id) {
  OpenChunk& chunk = open_[station_no];
  if (chunk.packer.count() > 0 && event.received < chunk.last) {  // a station that began anew with what the journal had
    forgotten_.push_back({station_no, std::move(chunk)});
    chunk = {};
  }
  if (chunk.packer.count() == 0) chunk.first = event.received;
  chunk.last = event.received;
  chunk.packer.put(event, half_cycle_id);
  chunk.touched = true;
}

void FedTable::write(Database& database, std::int64_t station_no, OpenChunk& chunk, bool close) {
  const std::string packed = close ? deflated(chunk.packer.bytes()) : std::string();
  const Blob bytes{close ? packed : chunk.packer.bytes()};
  if (chunk.id != 0) {
    update.run(chunk.last, chunk.packer.count(), close, bytes, chunk.id);
    if (database.changes() > 0) return;  // otherwise retention has taken it away
  }
  insert.run(station_no, chunk.first, chunk.last, chunk.packer.count(), close, bytes);
  chunk.id = database.last_id();
}

void FedTable::flush(Database& database) {
  for (auto& [station_no, chunk] : forgotten_) write(database, station_no, chunk, true);
  forgotten_.clear();
  for (auto at = open_.begin(); at != open_.end();) {
    OpenChunk& chunk = at->second;
    const bool close = chunk.packer.bytes().size() >= fed_chunk_bytes;
    if (chunk.touched) write(database, at->first, chunk, close);
    chunk.touched = false;
    at = close ? open_.erase(at) : std::next(at);
  }
}

void FedTable::forget() {
  open_.clear();
  forgotten_.clear();
}

ServiceNoteTable::ServiceNoteTable(Database& database)
    : insert(database.prepare("INSERT INTO service_notes (station_no, time, received, kind, line, note, by)"
                              " VALUES (?,?,?,?,?,?,?)")) {}

void ServiceNoteTable::put(std::int64_t station_no, const ServiceNote& row, Time received) {
  insert.run(station_no, row.time, received, name_of(row.kind), row.line, row.note, row.by);
}

const char* const ServiceNoteTable::select =
    "SELECT id, site, station, time, received, kind, line, note, by FROM service_notes CROSS JOIN stations ON no = station_no ";

Stored<ServiceNoteRow> ServiceNoteTable::take(Statement& from) {
  Stored<ServiceNoteRow> stored;
  ServiceNoteRow& row = stored.row;
  std::string kind;
  from.take_all(stored.id, row.station.site, row.station.station, row.note.time, row.received, kind, row.note.line,
                row.note.note, row.note.by);
  row.note.kind = named<ServiceKind>(kind, 6);
  return stored;
}

}  // namespace driftline::history
