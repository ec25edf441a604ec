// What is written once a day: reservoirs and forecasts.
#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {

ReservoirDayTable::ReservoirDayTable(Database& database)
    : insert(database.prepare("INSERT INTO reservoir_days (date, station_no, level_pct, use_pct_per_day, life_days,"
                              " life_days_low, life_days_high) VALUES (?,?,?,?,?,?,?)")) {}

void ReservoirDayTable::put(std::int64_t station_no, const ReservoirDay& row) {
  insert.run(row.date, station_no, row.level_pct, row.use_pct_per_day, row.life_days, row.life_days_low,
             row.life_days_high);
}

const char* const ReservoirDayTable::select =
    "SELECT id, date, site, station, level_pct, use_pct_per_day, life_days, life_days_low, life_days_high"
    " FROM reservoir_days CROSS JOIN stations ON no = station_no ";

Stored<ReservoirDay> ReservoirDayTable::take(Statement& from) {
  Stored<ReservoirDay> stored;
  ReservoirDay& row = stored.row;
  from.take_all(stored.id, row.date, row.station.site, row.station.station, row.level_pct, row.use_pct_per_day,
                row.life_days, row.life_days_low, row.life_days_high);
  return stored;
}

ForecastDayTable::ForecastDayTable(Database& database)
    : insert(database.prepare("INSERT INTO forecast_days (date, station_no, line, condition, limit_at,"
                              " limit_at_earliest, limit_at_latest) VALUES (?,?,?,?,?,?,?)")) {}

void ForecastDayTable::put(std::int64_t station_no, const ForecastDay& row) {
  insert.run(row.date, station_no, row.line, name_of(row.condition), row.forecast.limit_at,
             row.forecast.limit_at_earliest, row.forecast.limit_at_latest);
}

const char* const ForecastDayTable::select =
    "SELECT id, date, site, station, line, condition, limit_at, limit_at_earliest, limit_at_latest"
    " FROM forecast_days CROSS JOIN stations ON no = station_no ";

Stored<ForecastDay> ForecastDayTable::take(Statement& from) {
  Stored<ForecastDay> stored;
  ForecastDay& row = stored.row;
  std::string condition;
  from.take_all(stored.id, row.date, row.station.site, row.station.station, row.line, condition,
                row.forecast.limit_at, row.forecast.limit_at_earliest, row.forecast.limit_at_latest);
  row.condition = named<Condition>(condition, condition_count);
  return stored;
}

}  // namespace driftline::history
