// One struct a table: its prepared statements for writing, and how its rows are read. Each has a file of its own.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "gateway/history/database.h"
#include "gateway/history/fed_pack.h"
#include "gateway/history/rows.h"

namespace driftline::history {

// Stations are numbered, so that rows are short and an index by station is narrow.
class StationTable {
 public:
  explicit StationTable(Database& database);
  [[nodiscard]] std::int64_t number_of(const StationId& station);  // a new one is put in
  [[nodiscard]] std::optional<std::int64_t> number_if_known(const StationId& station);
  void forget() { numbers_.clear(); }                              // after a transaction that was undone

 private:
  Database& database_;
  Statement find_;
  Statement insert_;
  std::map<StationId, std::int64_t> numbers_;
};

// `select` gives id, then the row's columns with the station joined in; it ends before WHERE.
struct HalfCycleTable {
  explicit HalfCycleTable(Database& database);
  void put(std::int64_t station_no, const HalfCycleRow& row);
  static const char* const select;
  [[nodiscard]] static std::string select_without_curve();  // the same columns; the curve is empty
  [[nodiscard]] static Stored<HalfCycleRow> take(Statement& from);
  Statement insert;
};

// Chunks of what the rules were fed; see fed_pack.h. `flush` writes what `put` has gathered; `forget` drops it, after a
// transaction that was undone.
struct FedTable {
  explicit FedTable(Database& database);
  void put(std::int64_t station_no, const FedEvent& event, std::int64_t half_cycle_id);
  void flush(Database& database);
  void forget();
  Statement insert;
  Statement update;

 private:
  struct OpenChunk {
    std::int64_t id = 0;  // of its row; 0: it has none yet
    FedPacker packer{};
    Time first{};
    Time last{};
    bool touched = false;
  };
  void write(Database& database, std::int64_t station_no, OpenChunk& chunk, bool close);
  std::map<std::int64_t, OpenChunk> open_;
  std::vector<std::pair<std::int64_t, OpenChunk>> forgotten_;
};

struct ServiceNoteTable {
  explicit ServiceNoteTable(Database& database);
  void put(std::int64_t station_no, const ServiceNote& row, Time received);
  static const char* const select;
  [[nodiscard]] static Stored<ServiceNoteRow> take(Statement& from);
  Statement insert;
};

// Read only: HalfCycleTable writes the rows.
struct TurnGistTable {
  static const char* const select;
  [[nodiscard]] static Stored<TurnGist> take(Statement& from);
};

struct WarningTable {
  explicit WarningTable(Database& database);
  std::int64_t put(Database& database, std::int64_t station_no, const WarningChange& row);  // its id
  static const char* const select;
  [[nodiscard]] static Stored<WarningChange> take(Statement& from);
  Statement insert;
  Statement set_open;
  Statement set_closed;
};

// The life of each warning that is not plainly normal, and every change of one. Which change leads where is decided by
// rules::step; here it is only stored, in the transaction of what caused it.
struct LifeChangeTable {
  explicit LifeChangeTable(Database& database);
  void put(std::int64_t station_no, const LifeChange& row);
  static const char* const select;
  [[nodiscard]] static Stored<LifeChange> take(Statement& from);
  Statement insert;
};

struct LifeTable {
  explicit LifeTable(Database& database);
  // `warning_id` is its row, just put in.
  void take(Database& database, std::int64_t station_no, const WarningChange& change, std::int64_t warning_id);
  // `station_no` empty: nothing was ever heard of the station.
  [[nodiscard]] ActOutcome take(Database& database, std::optional<std::int64_t> station_no, const Act& act);
  void end_shelves(Database& database, Time now);

  static const char* const select;
  [[nodiscard]] static Stored<LifeRow> take(Statement& from);

  rules::LifeSettings settings;

 private:
  struct Found {
    rules::Life life;
    std::int64_t warning_id = 0;
  };
  struct Cause;  // who and why, for the row
  [[nodiscard]] std::optional<Found> find(std::int64_t station_no, int line, Condition condition);
  [[nodiscard]] bool is_silent(std::int64_t station_no);
  [[nodiscard]] static std::optional<Stored<LifeChange>> asked_before(Database& database, const std::string& request);
  rules::ActAnswer apply(std::int64_t station_no, const WarningRef& warning, Found& at,
                         const rules::LifeInput& input, const Cause& cause);
  void store(std::int64_t station_no, int line, Condition condition, const Found& found);
  void spread_silence(Database& database, std::int64_t station_no, const WarningChange& change);

  Statement find_;
  Statement set_;
  Statement remove_;
  LifeChangeTable changes_;
};

struct MessageTable {
  explicit MessageTable(Database& database);
  void put(const MessageRow& row);  // nothing if the key is there
  static const char* const select;
  [[nodiscard]] static Stored<KeptMessage> take(Statement& from);
  Statement insert;
  Statement begin;
  Statement end;
};

struct ReservoirDayTable {
  explicit ReservoirDayTable(Database& database);
  void put(std::int64_t station_no, const ReservoirDay& row);
  static const char* const select;
  [[nodiscard]] static Stored<ReservoirDay> take(Statement& from);
  Statement insert;
};

struct ForecastDayTable {
  explicit ForecastDayTable(Database& database);
  void put(std::int64_t station_no, const ForecastDay& row);
  static const char* const select;
  [[nodiscard]] static Stored<ForecastDay> take(Statement& from);
  Statement insert;
};

struct FaultTable {
  explicit FaultTable(Database& database);
  void put(const FaultRow& row);
  static const char* const select;
  [[nodiscard]] static Stored<FaultRow> take(Statement& from);
  Statement insert;
};

struct OutgoingTable {
  explicit OutgoingTable(Database& database);
  void put(const OutgoingRow& row);
  static const char* const select;
  [[nodiscard]] static Stored<OutgoingRow> take(Statement& from);
  Statement insert;
};

struct RefusedTable {
  explicit RefusedTable(Database& database);
  void put(const RefusedRow& row);
  static const char* const select;
  [[nodiscard]] static Stored<RefusedRow> take(Statement& from);
  Statement insert;
};

struct StateTable {
  explicit StateTable(Database& database);
  void put(std::int64_t station_no, const StationStateRow& row);
  void put(const SiteStateRow& row);
  void put_progress(std::uint64_t resume_from, std::uint64_t taken_to, std::uint64_t commits);
  [[nodiscard]] static SavedStates read(Database& database);
  Statement set_station;
  Statement set_site;
  Statement set_progress;
};

struct RolloutTable {
  explicit RolloutTable(Database& database);
  void put(const RolloutRow& row);  // once: the same act again is passed over
  static const char* const select;
  [[nodiscard]] static Stored<RolloutRow> take(Statement& from);
  Statement insert;
};

struct SessionTable {
  explicit SessionTable(Database& database);
  void put(const SessionRow& row);
  [[nodiscard]] static SessionRow take(Statement& from);
  Statement insert;
  Statement end;
};

struct CursorTable {
  explicit CursorTable(Database& database);
  void put(const std::string& name, const CursorMark& mark);  // forward only
  Statement set;
};

// A word of the vocabulary as stored, back to its value. Throws StoreError (damaged) for one that is none.
template <typename Enum>
[[nodiscard]] Enum named(std::string_view name, std::size_t count);
[[noreturn]] void unknown_word(std::string_view name);

template <typename Enum>
Enum named(std::string_view name, std::size_t count) {
  for (std::size_t i = 0; i < count; ++i)
    if (name_of(static_cast<Enum>(i)) == name) return static_cast<Enum>(i);
  unknown_word(name);
}

}  // namespace driftline::history
