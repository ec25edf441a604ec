// Rows as they come out of the history, and what can go wrong with it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gateway/history/batch.h"
#include "gateway/history/life_rows.h"
#include "gateway/history/message_rows.h"

namespace driftline::history {

// What a cursor can follow.
enum class Feed : std::uint8_t { half_cycles, warnings, reservoir_days, forecast_days, faults, outgoing, life_changes };
inline constexpr std::array<Feed, 7> feeds{Feed::half_cycles, Feed::warnings, Feed::reservoir_days, Feed::forecast_days,
                                           Feed::faults,      Feed::outgoing, Feed::life_changes};
[[nodiscard]] std::string_view name_of(Feed feed);  // its table

template <typename Row>
struct Stored {
  std::int64_t id = 0;
  Row row;
  bool operator==(const Stored&) const = default;
};

// What a list of many stations needs of a half-cycle: a tenth of the cost of reading it whole.
struct TurnGist {
  StationId station;
  int line = 1;
  Time pump_start{};
  Time pump_stop{};
  Outcome outcome = Outcome::unclear;
  std::optional<double> time_to_pressure_s;
  std::optional<UsualFigure> usual_time_to_pressure_s;
  std::optional<double> target_bar;
  bool operator==(const TurnGist&) const = default;
};

struct CursorMark {
  Feed feed = Feed::half_cycles;
  std::int64_t id = 0;  // the last row dealt with; 0: none
  bool operator==(const CursorMark&) const = default;
};

// A row that a consumer could not get rid of, with the answer that it got.
struct RefusedRow {
  std::string cursor;
  Feed feed = Feed::half_cycles;
  std::int64_t row_id = 0;
  Time time{};         // when it was refused
  int status = 0;      // as the other side gave it; 0: refused by ourselves
  std::string sent;    // what was sent, or would have been
  std::string answer;  // cut at limits.h
  bool operator==(const RefusedRow&) const = default;
};

enum class TroubleCause : std::uint8_t {
  busy,       // another connection holds the file
  disk_full,
  io_failed,  // reading, writing or syncing failed; the file is opened anew before the next try
  damaged,    // the file is not what it should be
  refused,    // permissions, a missing folder, a newer schema
  programming,
};
[[nodiscard]] std::string_view name_of(TroubleCause cause);

struct Trouble {
  TroubleCause cause = TroubleCause::io_failed;
  std::string text;
  [[nodiscard]] bool worth_retrying() const {
    return cause == TroubleCause::busy || cause == TroubleCause::disk_full || cause == TroubleCause::io_failed;
  }
};

// All that a start needs.
struct SavedStates {
  std::vector<StationStateRow> stations;  // by site and station
  std::vector<SiteStateRow> sites;
  std::uint64_t resume_from = 0;
  std::uint64_t taken_to = 0;
};

struct TableCount {
  std::string table;
  std::int64_t rows = 0;
  std::int64_t last_id = 0;
  bool operator==(const TableCount&) const = default;
};

}  // namespace driftline::history
