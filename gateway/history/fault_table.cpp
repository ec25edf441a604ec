#include "gateway/history/tables.h"

namespace driftline::history {

FaultTable::FaultTable(Database& database)
    : insert(database.prepare("INSERT INTO faults (received, topic, site, station, code, pointer, why, remedy)"
                              " VALUES (?,?,?,?,?,?,?,?)")) {}

// Site and station stand as text: a stranger's topics must not grow the table of stations.
void FaultTable::put(const FaultRow& row) {
  const auto site = row.station ? std::optional{row.station->site} : std::nullopt;
  const auto station = row.station ? std::optional{row.station->station} : std::nullopt;
  insert.run(row.received, row.topic, site, station, name_of(row.fault.code), row.fault.where, row.fault.why,
             row.fault.remedy);
}

const char* const FaultTable::select =
    "SELECT id, received, topic, site, station, code, pointer, why, remedy FROM faults ";

Stored<FaultRow> FaultTable::take(Statement& from) {
  Stored<FaultRow> stored;
  FaultRow& row = stored.row;
  std::optional<std::string> site;
  std::optional<std::string> station;
  std::string code;
  from.take_all(stored.id, row.received, row.topic, site, station, code, row.fault.where, row.fault.why,
                row.fault.remedy);
  if (site && station) row.station = StationId{*site, *station};
  row.fault.code = named<FaultCode>(code, fault_code_count);
  return stored;
}

}  // namespace driftline::history
