#include "gateway/history/tables.h"

namespace driftline::history {

SessionTable::SessionTable(Database& database)
    : insert(database.prepare("INSERT OR REPLACE INTO sessions (hash, user, password, token, began, used) VALUES (?,?,?,?,?,?)")),
      end(database.prepare("DELETE FROM sessions WHERE hash = ?")) {}

void SessionTable::put(const SessionRow& row) { insert.run(row.hash, row.user, row.password, row.token, row.began, row.used); }

SessionRow SessionTable::take(Statement& from) {
  SessionRow row;
  from.take_all(row.hash, row.user, row.password, row.token, row.began, row.used);
  return row;
}

}  // namespace driftline::history
