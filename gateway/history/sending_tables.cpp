// What is to be sent, how far each consumer is, and what could not be sent.
#include "gateway/history/limits.h"
#include "gateway/history/tables.h"

namespace driftline::history {

OutgoingTable::OutgoingTable(Database& database)
    : insert(database.prepare("INSERT INTO outgoing (time, channel, address, body) VALUES (?,?,?,?)")) {}

void OutgoingTable::put(const OutgoingRow& row) { insert.run(row.time, row.channel, row.address, row.body); }

const char* const OutgoingTable::select = "SELECT id, time, channel, address, body FROM outgoing ";

Stored<OutgoingRow> OutgoingTable::take(Statement& from) {
  Stored<OutgoingRow> stored;
  from.take_all(stored.id, stored.row.time, stored.row.channel, stored.row.address, stored.row.body);
  return stored;
}

RefusedTable::RefusedTable(Database& database)
    : insert(database.prepare("INSERT INTO refused (cursor, feed, row_id, time, status, sent, answer)"
                              " VALUES (?,?,?,?,?,?,?)")) {}

void RefusedTable::put(const RefusedRow& row) {
  insert.run(row.cursor, name_of(row.feed), row.row_id, row.time, row.status, row.sent,
             std::string_view{row.answer}.substr(0, answer_bytes_max));
}

const char* const RefusedTable::select = "SELECT id, cursor, feed, row_id, time, status, sent, answer FROM refused ";

Stored<RefusedRow> RefusedTable::take(Statement& from) {
  Stored<RefusedRow> stored;
  RefusedRow& row = stored.row;
  std::string feed;
  from.take_all(stored.id, row.cursor, feed, row.row_id, row.time, row.status, row.sent, row.answer);
  row.feed = named<Feed>(feed, feeds.size());
  return stored;
}

CursorTable::CursorTable(Database& database)
    : set(database.prepare("INSERT INTO cursors VALUES (?, ?, ?)"
                           " ON CONFLICT DO UPDATE SET id = max(id, excluded.id)")) {}

void CursorTable::put(const std::string& name, const CursorMark& mark) { set.run(name, name_of(mark.feed), mark.id); }

}  // namespace driftline::history
