#include "gateway/history/tables.h"

namespace driftline::history {

StateTable::StateTable(Database& database)
    : set_station(database.prepare("INSERT OR REPLACE INTO station_states VALUES (?, ?, ?)")),
      set_site(database.prepare("INSERT OR REPLACE INTO site_states VALUES (?, ?, ?)")),
      set_progress(database.prepare("UPDATE progress SET resume_from = ?, taken_to = ?, commits = ?")) {}

void StateTable::put(std::int64_t station_no, const StationStateRow& row) {
  set_station.run(station_no, row.position, Blob{row.bytes});
}

void StateTable::put(const SiteStateRow& row) { set_site.run(row.site, row.position, Blob{row.bytes}); }

void StateTable::put_progress(std::uint64_t resume_from, std::uint64_t taken_to, std::uint64_t commits) {
  set_progress.run(resume_from, taken_to, commits);
}

SavedStates StateTable::read(Database& database) {
  SavedStates states;
  Statement stations = database.prepare(
      "SELECT site, station, position, bytes FROM station_states JOIN stations ON no = station_no"
      " ORDER BY site, station");
  while (stations.step()) {
    StationStateRow& row = states.stations.emplace_back();
    stations.take_all(row.station.site, row.station.station, row.position, row.bytes);
  }
  Statement sites = database.prepare("SELECT site, position, bytes FROM site_states ORDER BY site");
  while (sites.step()) {
    SiteStateRow& row = states.sites.emplace_back();
    sites.take_all(row.site, row.position, row.bytes);
  }
  Statement progress = database.prepare("SELECT resume_from, taken_to FROM progress");
  if (progress.step()) progress.take_all(states.resume_from, states.taken_to);
  return states;
}

}  // namespace driftline::history
