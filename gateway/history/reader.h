// Questions to the history. A connection that only reads: it never waits for the writer nor makes it wait.
//
// Each question is short (limits.h) and sees one moment of the store. A reader belongs to one thread.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/history/fed_tape.h"
#include "gateway/history/rows.h"

namespace driftline::history {

class Database;

template <typename Row>
using Rows = tl::expected<std::vector<Stored<Row>>, Trouble>;

struct Span {
  Time from{};  // at or after
  Time to{};    // before
};

struct FedStation {
  StationId id;
  Time last{};  // gateway's clock: the newest that was fed
};

class Reader {
 public:
  // The file must exist: the writer makes it.
  [[nodiscard]] static tl::expected<std::unique_ptr<Reader>, Trouble> open(const std::string& file);
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;
  ~Reader();

  // Rows with an id above `after`, lowest first, at most `limit` (and limits.h).
  [[nodiscard]] Rows<HalfCycleRow> half_cycles_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<TurnGist> turn_gists_after(std::int64_t after, int limit);  // of half_cycles
  [[nodiscard]] Rows<WarningChange> warnings_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<ReservoirDay> reservoir_days_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<ForecastDay> forecast_days_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<FaultRow> faults_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<OutgoingRow> outgoing_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<RefusedRow> refused_after(std::int64_t after, int limit);

  [[nodiscard]] tl::expected<SavedStates, Trouble> states();

  // Warnings that are raised and not cleared: the last change of each, by station, line and condition.
  [[nodiscard]] Rows<WarningChange> open_warnings();

  // Warnings that are not plainly normal, shelved ones and those out of service among them, by station, line and condition.
  [[nodiscard]] Rows<LifeRow> lives();
  [[nodiscard]] Rows<LifeRow> lives_of(const StationId& station);
  [[nodiscard]] Rows<LifeChange> life_changes_after(std::int64_t after, int limit);
  // Messages to people: who is due to get some by a channel; what is due for one of them, acts first, then lowest id first; all, by id.
  [[nodiscard]] tl::expected<std::vector<std::string>, Trouble> people_due(const std::string& channel, Time now);
  [[nodiscard]] Rows<KeptMessage> messages_due(const std::string& channel, const std::string& person, Time now, int limit);
  [[nodiscard]] Rows<KeptMessage> messages_after(std::int64_t after, int limit);
  [[nodiscard]] Rows<KeptMessage> message(std::int64_t id);  // none or one
  [[nodiscard]] Rows<KeptMessage> messages_since(Time made);  // the newest, as many as one question may give, by id
  [[nodiscard]] tl::expected<std::int64_t, Trouble> messages_sent_since(const std::string& person, const std::string& channel, Time since);
  [[nodiscard]] Rows<WarningChange> warning_row(std::int64_t id);
  [[nodiscard]] tl::expected<std::vector<StationId>, Trouble> stations_known();  // that have a state; sorted
  // All that happened to one warning, newest first; of people alone with `acts_only`.
  [[nodiscard]] Rows<LifeChange> latest_life_changes(const WarningRef& warning, bool acts_only, int limit);

  // Of one station, by pump start; `latest` newest first, of one line if given.
  [[nodiscard]] Rows<HalfCycleRow> latest_half_cycles(const StationId& station, std::optional<int> line, int limit);
  [[nodiscard]] Rows<HalfCycleRow> half_cycles_between(const StationId& station, const Span& span, int limit);
  [[nodiscard]] Rows<WarningChange> warnings_between(const StationId& station, const Span& span, int limit);
  [[nodiscard]] Rows<ReservoirDay> reservoir_days_between(const StationId& station, const Span& span, int limit);
  [[nodiscard]] Rows<ForecastDay> forecast_days_between(const StationId& station, const Span& span, int limit);

  // What people noted of one station, by time; and of all, by id.
  [[nodiscard]] Rows<ServiceNoteRow> service_notes_between(const StationId& station, const Span& span, int limit);
  [[nodiscard]] Rows<ServiceNoteRow> service_notes_after(std::int64_t after, int limit);

  // What was done with thresholds, newest first.
  [[nodiscard]] Rows<RolloutRow> rollouts(int limit);

  // Who was signed in at the page.
  [[nodiscard]] tl::expected<std::vector<SessionRow>, Trouble> sessions();

  // All that the rules of a station were fed, in order, of chunks that touch the span of `received`. The rules do not look
  // at a turn's curve: without it the tape is a third as large. No bound on rows: a station's year takes about 0.3 s.
  [[nodiscard]] tl::expected<FedTape, Trouble> fed_tape(const StationId& station, const Span& span, bool with_curves);
  // Stations of which something was fed, sorted.
  [[nodiscard]] tl::expected<std::vector<FedStation>, Trouble> fed_stations();

  // Where a cursor stands; feeds that it does not follow are absent.
  [[nodiscard]] tl::expected<std::vector<CursorMark>, Trouble> cursor(const std::string& name);
  // The newest id of each feed: with a cursor, how much waits.
  [[nodiscard]] tl::expected<std::vector<CursorMark>, Trouble> last_ids();
  // Reads whole tables: seconds on a large history.
  [[nodiscard]] tl::expected<std::vector<TableCount>, Trouble> counts();

 private:
  explicit Reader(std::unique_ptr<Database> database);
  std::unique_ptr<Database> database_;
};

}  // namespace driftline::history
