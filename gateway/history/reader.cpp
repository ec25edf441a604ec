#include "gateway/history/reader.h"

#include <algorithm>
#include <limits>

#include "gateway/history/database.h"
#include "gateway/history/events.h"
#include "gateway/history/limits.h"
#include "gateway/history/schema.h"
#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {
namespace {

constexpr const char* of_station = " = (SELECT no FROM stations WHERE site = ? AND station = ?) ";

template <typename Work>
auto answered(Work work) -> tl::expected<decltype(work()), Trouble> {
  try {
    return work();
  } catch (const StoreError& error) {
    return tl::unexpected(trouble_of(error));
  }
}

// Several tables as of one moment.
class Snapshot {
 public:
  explicit Snapshot(Database& database) : database_(database) { database_.execute("BEGIN"); }
  Snapshot(const Snapshot&) = delete;
  Snapshot& operator=(const Snapshot&) = delete;
  ~Snapshot() {
    try {
      if (!done_ && database_.in_transaction()) database_.execute("ROLLBACK");
    } catch (const StoreError&) {  // the connection is of no use any more; the next question says so
    }
  }
  void done() {
    database_.execute("COMMIT");
    done_ = true;
  }

 private:
  Database& database_;
  bool done_ = false;
};

// All rows that `tail`, put behind the table's SELECT, gives for the parameters; the last of them is the bound on rows.
template <typename Table, typename... Values>
auto rows(Database& database, const std::string& tail, int limit, const Values&... values) {
  return answered([&] {
    Statement statement = database.prepare(Table::select + tail + " LIMIT ?");
    statement.begin(values..., std::clamp(limit, 0, rows_max));
    std::vector<decltype(Table::take(statement))> all;
    while (statement.step()) all.push_back(Table::take(statement));
    return all;
  });
}

}  // namespace

Reader::Reader(std::unique_ptr<Database> database) : database_(std::move(database)) {}
Reader::~Reader() = default;

tl::expected<std::unique_ptr<Reader>, Trouble> Reader::open(const std::string& file) {
  return answered([&] {
    auto database = std::make_unique<Database>(file, Database::Mode::read);
    prepare_for_reading(*database);
    return std::unique_ptr<Reader>(new Reader(std::move(database)));
  });
}

Rows<HalfCycleRow> Reader::half_cycles_after(std::int64_t after, int limit) {
  return rows<HalfCycleTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<TurnGist> Reader::turn_gists_after(std::int64_t after, int limit) {
  return rows<TurnGistTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<WarningChange> Reader::warnings_after(std::int64_t after, int limit) {
  return rows<WarningTable>(*database_, "WHERE warnings.id > ? ORDER BY warnings.id", limit, after);
}
Rows<ReservoirDay> Reader::reservoir_days_after(std::int64_t after, int limit) {
  return rows<ReservoirDayTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<ForecastDay> Reader::forecast_days_after(std::int64_t after, int limit) {
  return rows<ForecastDayTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<FaultRow> Reader::faults_after(std::int64_t after, int limit) {
  return rows<FaultTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<OutgoingRow> Reader::outgoing_after(std::int64_t after, int limit) {
  return rows<OutgoingTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<RefusedRow> Reader::refused_after(std::int64_t after, int limit) {
  return rows<RefusedTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}

Rows<LifeRow> Reader::lives() {
  return rows<LifeTable>(*database_, "ORDER BY site, station, lives.line, lives.condition", rows_max);
}
Rows<LifeRow> Reader::lives_of(const StationId& station) {
  return rows<LifeTable>(*database_, "WHERE site = ? AND station = ? ORDER BY lives.line, lives.condition", rows_max,
                         station.site, station.station);
}
Rows<LifeChange> Reader::life_changes_after(std::int64_t after, int limit) {
  return rows<LifeChangeTable>(*database_, "WHERE life_changes.id > ? ORDER BY life_changes.id", limit, after);
}
Rows<LifeChange> Reader::latest_life_changes(const WarningRef& warning, bool acts_only, int limit) {
  const std::string tail = std::string("WHERE life_changes.station_no") + of_station +
                           "AND line = ? AND condition = ?" + (acts_only ? " AND who <> ''" : "") +
                           " ORDER BY life_changes.id DESC";
  return rows<LifeChangeTable>(*database_, tail, limit, warning.station.site, warning.station.station,
                               warning.line.value_or(0), name_of(warning.condition));
}

tl::expected<std::vector<std::string>, Trouble> Reader::people_due(const std::string& channel, Time now) {
  return answered([&] {
    std::vector<std::string> people;
    Statement statement = database_->prepare("SELECT DISTINCT person FROM messages WHERE state = 'waiting' AND channel = ? AND next_try <= ? ORDER BY person");
    statement.begin(channel, now);
    while (statement.step()) people.push_back(statement.take<std::string>());
    return people;
  });
}
Rows<KeptMessage> Reader::messages_due(const std::string& channel, const std::string& person, Time now, int limit) {
  return rows<MessageTable>(*database_, "WHERE state = 'waiting' AND channel = ? AND person = ? AND next_try <= ? ORDER BY urgency = 'act' DESC, id", limit, channel, person, now);
}
Rows<KeptMessage> Reader::messages_after(std::int64_t after, int limit) {
  return rows<MessageTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}
Rows<KeptMessage> Reader::message(std::int64_t id) { return rows<MessageTable>(*database_, "WHERE id = ?", 1, id); }
Rows<KeptMessage> Reader::messages_since(Time made) {
  auto newest = rows<MessageTable>(*database_, "WHERE made >= ? ORDER BY id DESC", rows_max, made);
  if (newest) std::reverse(newest->begin(), newest->end());
  return newest;
}
tl::expected<std::int64_t, Trouble> Reader::messages_sent_since(const std::string& person, const std::string& channel, Time since) {
  return answered([&] {
    Statement statement = database_->prepare("SELECT count(DISTINCT sending) FROM messages WHERE state = 'sent' AND person = ? AND channel = ? AND sent >= ?");
    statement.begin(person, channel, since);
    return statement.step() ? statement.take<std::int64_t>() : 0;
  });
}
Rows<WarningChange> Reader::warning_row(std::int64_t id) { return rows<WarningTable>(*database_, "WHERE warnings.id = ?", 1, id); }
tl::expected<std::vector<StationId>, Trouble> Reader::stations_known() {
  return answered([&] {
    Statement statement = database_->prepare("SELECT site, station FROM stations WHERE no IN (SELECT station_no FROM station_states) ORDER BY site, station");
    statement.begin();
    std::vector<StationId> stations;
    while (statement.step()) {
      StationId& station = stations.emplace_back();
      statement.take_all(station.site, station.station);
    }
    return stations;
  });
}

tl::expected<SavedStates, Trouble> Reader::states() {
  return answered([&] {
    Snapshot moment(*database_);
    SavedStates states = StateTable::read(*database_);
    moment.done();
    return states;
  });
}

Rows<WarningChange> Reader::open_warnings() {
  return rows<WarningTable>(*database_,
                            "WHERE warnings.id IN (SELECT warning_id FROM open_warnings)"
                            " ORDER BY site, station, coalesce(warnings.line, 0), warnings.condition",
                            rows_max);
}

Rows<HalfCycleRow> Reader::latest_half_cycles(const StationId& station, std::optional<int> line, int limit) {
  const std::string tail = std::string("WHERE station_no") + of_station +
                           "AND line = coalesce(?, line) ORDER BY pump_start DESC, id DESC";
  return rows<HalfCycleTable>(*database_, tail, limit, station.site, station.station, line);
}

Rows<HalfCycleRow> Reader::half_cycles_between(const StationId& station, const Span& span, int limit) {
  const std::string tail = std::string("WHERE station_no") + of_station +
                           "AND pump_start >= ? AND pump_start < ? ORDER BY pump_start, id";
  return rows<HalfCycleTable>(*database_, tail, limit, station.site, station.station, span.from, span.to);
}

Rows<WarningChange> Reader::warnings_between(const StationId& station, const Span& span, int limit) {
  const std::string tail = std::string("WHERE warnings.station_no") + of_station +
                           "AND time >= ? AND time < ? ORDER BY time, warnings.id";
  return rows<WarningTable>(*database_, tail, limit, station.site, station.station, span.from, span.to);
}

Rows<ReservoirDay> Reader::reservoir_days_between(const StationId& station, const Span& span, int limit) {
  const std::string tail =
      std::string("WHERE station_no") + of_station + "AND date >= ? AND date < ? ORDER BY date, id";
  return rows<ReservoirDayTable>(*database_, tail, limit, station.site, station.station, span.from, span.to);
}

Rows<ForecastDay> Reader::forecast_days_between(const StationId& station, const Span& span, int limit) {
  const std::string tail =
      std::string("WHERE station_no") + of_station + "AND date >= ? AND date < ? ORDER BY date, id";
  return rows<ForecastDayTable>(*database_, tail, limit, station.site, station.station, span.from, span.to);
}

Rows<ServiceNoteRow> Reader::service_notes_between(const StationId& station, const Span& span, int limit) {
  const std::string tail =
      std::string("WHERE station_no") + of_station + "AND time >= ? AND time < ? ORDER BY time, id";
  return rows<ServiceNoteTable>(*database_, tail, limit, station.site, station.station, span.from, span.to);
}

Rows<ServiceNoteRow> Reader::service_notes_after(std::int64_t after, int limit) {
  return rows<ServiceNoteTable>(*database_, "WHERE id > ? ORDER BY id", limit, after);
}

Rows<RolloutRow> Reader::rollouts(int limit) {
  return rows<RolloutTable>(*database_, "ORDER BY time DESC, id DESC", limit);
}

tl::expected<std::vector<SessionRow>, Trouble> Reader::sessions() {
  return answered([&] {
    std::vector<SessionRow> all;
    Statement found = database_->prepare("SELECT hash, user, password, token, began, used FROM sessions ORDER BY hash");
    found.begin();
    while (found.step()) all.push_back(SessionTable::take(found));
    return all;
  });
}

tl::expected<FedTape, Trouble> Reader::fed_tape(const StationId& station, const Span& span, bool with_curves) {
  return answered([&] {
    Snapshot moment(*database_);
    FedTape tape;
    std::int64_t first_turn = std::numeric_limits<std::int64_t>::max();
    std::int64_t last_turn = 0;
    // Chunks follow each other: the one that began last before the span is the first that can touch it. Who follows a tape that
    // grows thus looks at its end only.
    Statement chunks = database_->prepare(std::string("SELECT id, deflated, bytes FROM fed_events WHERE station_no") + of_station +
                                          "AND first >= coalesce((SELECT max(first) FROM fed_events WHERE station_no" + of_station +
                                          "AND first < ?), 0) AND last >= ? AND first < ? ORDER BY id");
    chunks.begin(station.site, station.station, station.site, station.station, span.from, span.from, span.to);
    StoredFedEvent stored;
    while (chunks.step()) {
      std::int64_t id = 0;
      bool is_deflated = false;
      std::string bytes;
      chunks.take_all(id, is_deflated, bytes);
      if (is_deflated) bytes = inflated(bytes).value_or(std::string(1, '\0'));
      FedUnpacker unpacker(bytes);
      while (unpacker.next(stored)) {
        if (stored.half_cycle_id == 0) continue;
        first_turn = std::min(first_turn, stored.half_cycle_id);
        last_turn = std::max(last_turn, stored.half_cycle_id);
      }
      if (unpacker.damaged()) events::row_damaged("fed_events", id);
      tape.add_chunk(std::move(bytes));
    }
    const std::string select = with_curves ? HalfCycleTable::select : HalfCycleTable::select_without_curve();
    Statement turns = database_->prepare(select + "WHERE station_no" + of_station + "AND id BETWEEN ? AND ? ORDER BY id");
    turns.begin(station.site, station.station, first_turn, last_turn);
    while (turns.step()) {
      auto row = HalfCycleTable::take(turns);
      tape.add_half_cycle(row.id, std::move(row.row.half_cycle));
    }
    moment.done();
    return tape;
  });
}

tl::expected<std::vector<FedStation>, Trouble> Reader::fed_stations() {
  return answered([&] {
    Statement statement = database_->prepare(
        "SELECT site, station, (SELECT last FROM fed_events WHERE station_no = no ORDER BY first DESC LIMIT 1) AS heard"
        " FROM stations WHERE heard IS NOT NULL ORDER BY site, station");
    statement.begin();
    std::vector<FedStation> stations;
    while (statement.step()) {
      FedStation& station = stations.emplace_back();
      statement.take_all(station.id.site, station.id.station, station.last);
    }
    return stations;
  });
}

tl::expected<std::vector<CursorMark>, Trouble> Reader::cursor(const std::string& name) {
  return answered([&] {
    Statement statement = database_->prepare("SELECT feed, id FROM cursors WHERE name = ?");
    statement.begin(name);
    std::vector<CursorMark> marks;
    while (statement.step()) {
      const auto feed = named<Feed>(statement.take<std::string>(), feeds.size());
      marks.push_back({feed, statement.take<std::int64_t>()});
    }
    std::sort(marks.begin(), marks.end(), [](const auto& a, const auto& b) { return a.feed < b.feed; });
    return marks;
  });
}

tl::expected<std::vector<CursorMark>, Trouble> Reader::last_ids() {
  return answered([&] {
    std::vector<CursorMark> marks;
    for (const Feed feed : feeds)
      marks.push_back({feed, database_->number("SELECT coalesce(max(id), 0) FROM " + std::string(name_of(feed)))});
    return marks;
  });
}

tl::expected<std::vector<TableCount>, Trouble> Reader::counts() {
  return answered([&] {
    std::vector<TableCount> counts;
    for (const char* table : {"half_cycles", "warnings", "reservoir_days", "forecast_days", "faults", "outgoing",
                              "refused", "fed_events", "service_notes", "life_changes"}) {
      Statement statement = database_->prepare(std::string("SELECT count(*), coalesce(max(id), 0) FROM ") + table);
      TableCount& count = counts.emplace_back();
      count.table = table;
      if (statement.step()) statement.take_all(count.rows, count.last_id);
    }
    return counts;
  });
}

}  // namespace driftline::history
