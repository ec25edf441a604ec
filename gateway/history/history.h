// What was made of the input, durable: the one writer of the store. Reading: reader.h.
//
// One file (SQLite, write-ahead log) with one connection that writes. `commit` stores a batch in one transaction or not at
// all. Rows have ids that rise for ever within their table, in the order in which they were put in; a cursor is the last id
// that a consumer has dealt with. Cursors lie in the same file as the rows on purpose: after a power cut both go back
// together, so a cursor can never stand behind rows that are not there any more. Advancing one costs the judgement a wait
// of well under a millisecond.
//
// What survives. The process killed at any moment: every commit that returned. Power cut: the last commits may be undone
// (synchronous=NORMAL: the log is synced at checkpoints only), rows, states, cursors and positions together, and the journal
// brings them again: it must keep everything from `needed_from()` on, which only moves when a checkpoint is on the disk.
// Consumers then see some rows a second time, at the same ids.
//
// Schema steps are numbered and go forward only; a file of a newer version is refused and left as it is.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <mutex>
#include <span>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/history/batch.h"
#include "gateway/history/rows.h"

namespace driftline::history {

class Writer;  // the connection and its statements
struct StoreError;

struct CursorUse {
  std::string name{};          // "metrics", "mqtt"
  std::vector<Feed> feeds{};
  bool from_beginning = true;  // where a new cursor begins: with the oldest row, or with the next to come
};

struct HistorySettings {
  std::string file{};              // its folder is made if absent
  std::vector<CursorUse> cursors{};  // those in use: retention waits for them; others are forgotten
  bool keep_other_cursors = false;   // for who opens it for a moment and does not know them
  std::chrono::hours keep_half_cycles{24 * 730};
  std::chrono::hours keep_warnings{24 * 1826};
  std::chrono::hours keep_reservoir_days{24 * 1826};
  std::chrono::hours keep_forecast_days{24 * 730};
  std::chrono::hours keep_faults{24 * 60};
  std::chrono::hours keep_outgoing{24 * 60};
  std::chrono::hours keep_refused{24 * 365};
};

class History {
 public:
  // An error is a sentence for a person.
  [[nodiscard]] static tl::expected<std::unique_ptr<History>, std::string> open(const HistorySettings& settings);
  History(const History&) = delete;
  History& operator=(const History&) = delete;
  ~History();

  // All of these: any thread, one at a time within.

  // All of it or nothing. After a failure the very same batch is to be handed in until it is stored, or the program ends:
  // then nothing is lost or doubled, whatever the failure was.
  [[nodiscard]] tl::expected<void, Trouble> commit(const Batch& batch);

  // Moves a cursor forward (never back) and stores the rows that its consumer could not get rid of, in one transaction.
  [[nodiscard]] tl::expected<void, Trouble> advance(const std::string& cursor, std::span<const CursorMark> marks,
                                                    std::span<const RefusedRow> refused = {});

  // Acts with thresholds; those that are known already are passed over.
  [[nodiscard]] tl::expected<void, Trouble> note_rollouts(std::span<const RolloutRow> rows);

  // Who is signed in at the page: put in or brought up to date, and who is no longer.
  [[nodiscard]] tl::expected<void, Trouble> keep_sessions(std::span<const SessionRow> kept, std::span<const std::string> ended);

  // What a person does to a warning, stored with all that follows from it in one transaction, and on the disk when this
  // returns. Whoever takes acts (page, link, MQTT, command line) calls this and nothing else. Doing a thing twice answers
  // `already` and stores nothing; asked for twice under one request it answers `done` both times and is stored once, for as long
  // as the change is kept.
  [[nodiscard]] tl::expected<ActOutcome, Trouble> act(const Act& act);
  // Messages that are planned; a key that is there stays as it is. On the disk when it
  // returns, as the two after it.
  [[nodiscard]] tl::expected<void, Trouble> plan_messages(std::span<const MessageRow> rows);
  // These are now handed to their channel, as one message whose number is `sending`.
  [[nodiscard]] tl::expected<void, Trouble> begin_sending(std::span<const std::int64_t> ids, std::int64_t sending);
  // What became of them; `answered`: the channel has answered, so it is known whether they went out.
  struct SendingEnd {
    MessageState state = MessageState::sent;
    bool answered = true;
    Time next_try{};
    std::optional<Time> sent{};
    std::string answer{};
  };
  [[nodiscard]] tl::expected<void, Trouble> end_sending(std::span<const std::int64_t> ids, const SendingEnd& end);

  // From now on: which conditions latch, how long a shelf may last.
  void set_life(const rules::LifeSettings& life);

  // A slice of retention, shelves that have come to their end, and a checkpoint. Call it every few seconds; `now` is the gateway's clock.
  [[nodiscard]] tl::expected<void, Trouble> tend(Time now);

  // The journal must keep all from here on, whatever happens to the power.
  [[nodiscard]] std::uint64_t needed_from() const;

  [[nodiscard]] const std::string& file() const { return settings_.file; }

 private:
  explicit History(const HistorySettings& settings);
  template <typename Work>
  tl::expected<void, Trouble> in_transaction(Work work, bool synced = false);
  template <typename Work>
  tl::expected<void, Trouble> tended(Work work);
  tl::unexpected<Trouble> undone(const StoreError& error);
  void ensure_open();
  void take_cursors();
  void checkpoint(bool quiet);

  const HistorySettings settings_;
  rules::LifeSettings life_;
  int lock_ = -1;
  mutable std::mutex mutex_;
  std::unique_ptr<Writer> writer_;
  bool failing_ = false;
  bool commit_unsure_ = false;
  std::uint64_t commits_ = 0;
  bool committed_since_tend_ = false;
  std::uint64_t resume_from_ = 0;
  std::uint64_t needed_from_ = 0;
};

}  // namespace driftline::history
