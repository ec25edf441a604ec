// The writing connection with all that is prepared on it.
#pragma once

#include <string>

#include "gateway/history/history.h"
#include "gateway/history/tables.h"

namespace driftline::history {

class Writer {
 public:
  explicit Writer(const std::string& file);  // throws StoreError

  void put(const Batch& batch, std::uint64_t commits);  // in a transaction of the caller's
  [[nodiscard]] std::uint64_t commits();                // that the file has seen

  // One slice of each table; true if there may be more to do.
  bool retire(const HistorySettings& settings, Time now);

  Database database;  // first: statements go before it
  StationTable stations;
  HalfCycleTable half_cycles;
  FedTable fed;
  ServiceNoteTable service_notes;
  WarningTable warnings;
  LifeTable lives;
  MessageTable messages;
  ReservoirDayTable reservoir_days;
  ForecastDayTable forecast_days;
  FaultTable faults;
  OutgoingTable outgoing;
  RefusedTable refused;
  StateTable states;
  RolloutTable rollouts;
  SessionTable sessions;
  CursorTable cursors;

 private:
  void put_turns_and_what_was_fed(const Batch& batch);
  void retire_fed(const char* table, const char* time_column, Time before);
  std::int64_t retire_slice(Feed feed, const char* time_column, Time before);
};

}  // namespace driftline::history
