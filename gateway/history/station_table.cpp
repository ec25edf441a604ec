#include <sqlite3.h>

#include "gateway/history/tables.h"

namespace driftline::history {

void unknown_word(std::string_view name) {
  throw StoreError(SQLITE_CORRUPT, "\"" + std::string(name) + "\" is no word that this program has stored");
}

StationTable::StationTable(Database& database)
    : database_(database),
      find_(database.prepare("SELECT no FROM stations WHERE site = ? AND station = ?")),
      insert_(database.prepare("INSERT INTO stations (site, station) VALUES (?, ?)")) {}

std::optional<std::int64_t> StationTable::number_if_known(const StationId& station) {
  find_.begin(station.site, station.station);
  std::optional<std::int64_t> number;
  if (find_.step()) number = find_.take<std::int64_t>();
  find_.reset();
  return number;
}

std::int64_t StationTable::number_of(const StationId& station) {
  if (const auto known = numbers_.find(station); known != numbers_.end()) return known->second;
  find_.begin(station.site, station.station);
  std::int64_t number = 0;
  if (find_.step()) {
    number = find_.take<std::int64_t>();
  } else {
    insert_.run(station.site, station.station);
    number = database_.last_id();
  }
  find_.reset();
  numbers_.emplace(station, number);
  return number;
}

}  // namespace driftline::history
