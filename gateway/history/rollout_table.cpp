#include "gateway/history/tables.h"

namespace driftline::history {

RolloutTable::RolloutTable(Database& database)
    : insert(database.prepare("INSERT OR IGNORE INTO rollouts (proposal, number, time, act, who, why, target, thresholds)"
                              " VALUES (?,?,?,?,?,?,?,?)")) {}

void RolloutTable::put(const RolloutRow& row) {
  insert.run(row.proposal, row.number, row.time, row.act, row.who, row.why, row.target, row.thresholds);
}

const char* const RolloutTable::select = "SELECT id, proposal, number, time, act, who, why, target, thresholds FROM rollouts ";

Stored<RolloutRow> RolloutTable::take(Statement& from) {
  Stored<RolloutRow> stored;
  RolloutRow& row = stored.row;
  from.take_all(stored.id, row.proposal, row.number, row.time, row.act, row.who, row.why, row.target, row.thresholds);
  return stored;
}

}  // namespace driftline::history
