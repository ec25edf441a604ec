#include "gateway/history/history.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>

#include "gateway/history/events.h"
#include "gateway/history/limits.h"
#include "gateway/history/writer.h"

namespace driftline::history {

History::History(const HistorySettings& settings) : settings_(settings) {}

History::~History() {
  writer_.reset();
  if (lock_ >= 0) ::close(lock_);
}

tl::expected<std::unique_ptr<History>, std::string> History::open(const HistorySettings& settings) {
  std::error_code error;
  const std::filesystem::path folder = std::filesystem::path(settings.file).parent_path();
  if (!folder.empty()) std::filesystem::create_directories(folder, error);
  if (error) return tl::unexpected("the history's folder " + folder.string() + " cannot be made: " + error.message());
  std::unique_ptr<History> history(new History(settings));
  // A file beside it: closing any handle of the store's own file would drop SQLite's locks on it.
  const std::string lock = settings.file + ".lock";
  history->lock_ = ::open(lock.c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0640);
  if (history->lock_ < 0) return tl::unexpected(lock + " cannot be opened: " + std::strerror(errno));
  if (::flock(history->lock_, LOCK_EX | LOCK_NB) != 0)
    return tl::unexpected("the history " + settings.file + " is in use by another process");
  try {
    history->ensure_open();
    history->take_cursors();
    const SavedStates states = StateTable::read(history->writer_->database);
    history->resume_from_ = states.resume_from;
    history->commits_ = history->writer_->commits();
    history->checkpoint(false);
  } catch (const StoreError& wrong) {
    return tl::unexpected("the history " + settings.file + " cannot be used: " + wrong.what());
  }
  return history;
}

void History::ensure_open() {
  if (writer_ == nullptr) writer_ = std::make_unique<Writer>(settings_.file);
  writer_->lives.settings = life_;
}

// Runs `work` in one transaction; what goes wrong is undone, and said when it begins and when it ends. `synced`: no power cut
// can undo it once it has returned.
template <typename Work>
tl::expected<void, Trouble> History::in_transaction(Work work, bool synced) {
  try {
    ensure_open();
    if (synced) writer_->database.execute("PRAGMA synchronous=FULL");
    writer_->database.execute("BEGIN IMMEDIATE");
    work(*writer_);
    writer_->database.execute("COMMIT");
    if (synced) writer_->database.execute("PRAGMA synchronous=NORMAL");
  } catch (const StoreError& error) {
    return undone(error);
  }
  if (std::exchange(failing_, false)) events::works_again(settings_.file);
  return {};
}

tl::unexpected<Trouble> History::undone(const StoreError& error) {
  const Trouble trouble = trouble_of(error);
  if (!std::exchange(failing_, true)) events::failing(settings_.file, trouble);
  if (writer_ != nullptr) {
    writer_->stations.forget();
    writer_->fed.forget();
    try {
      if (writer_->database.in_transaction()) writer_->database.execute("ROLLBACK");
      writer_->database.execute("PRAGMA synchronous=NORMAL");
    } catch (const StoreError&) {
      writer_.reset();
    }
  }
  // After a failed write or sync what the connection believes of the file may be wrong.
  if (trouble.cause != TroubleCause::busy && trouble.cause != TroubleCause::disk_full) writer_.reset();
  return tl::unexpected(trouble);
}

tl::expected<void, Trouble> History::commit(const Batch& batch) {
  const std::lock_guard guard(mutex_);
  const bool unsure = std::exchange(commit_unsure_, false);
  auto outcome = in_transaction([&](Writer& writer) {
    // A commit that failed may have been stored all the same: its last step is after the point of no return.
    if (!unsure || writer.commits() == commits_) writer.put(batch, commits_ + 1);
  });
  if (!outcome) {
    commit_unsure_ = true;
    return outcome;
  }
  ++commits_;
  resume_from_ = batch.resume_from;
  committed_since_tend_ = true;
  // Whatever comes of it: the batch is stored.
  if (writer_->database.log_pages() >= checkpoint_pages) (void)tended([&] { checkpoint(false); });
  return outcome;
}

tl::expected<void, Trouble> History::advance(const std::string& cursor, std::span<const CursorMark> marks,
                                             std::span<const RefusedRow> refused) {
  const std::lock_guard guard(mutex_);
  return in_transaction([&](Writer& writer) {
    for (const CursorMark& mark : marks) writer.cursors.put(cursor, mark);
    for (const RefusedRow& row : refused) writer.refused.put(row);
  });
}

tl::expected<void, Trouble> History::note_rollouts(std::span<const RolloutRow> rows) {
  const std::lock_guard guard(mutex_);
  return in_transaction([&](Writer& writer) {
    for (const RolloutRow& row : rows) writer.rollouts.put(row);
  });
}

tl::expected<void, Trouble> History::keep_sessions(std::span<const SessionRow> kept, std::span<const std::string> ended) {
  const std::lock_guard guard(mutex_);
  return in_transaction([&](Writer& writer) {
    for (const SessionRow& row : kept) writer.sessions.put(row);
    for (const std::string& hash : ended) writer.sessions.end.run(hash);
  });
}

tl::expected<ActOutcome, Trouble> History::act(const Act& act) {
  const std::lock_guard guard(mutex_);
  ActOutcome outcome;
  const auto stored = in_transaction(
      [&](Writer& writer) { outcome = writer.lives.take(writer.database, writer.stations.number_if_known(act.warning.station), act); },
      true);
  if (!stored) return tl::unexpected(stored.error());
  committed_since_tend_ = true;
  return outcome;
}

tl::expected<void, Trouble> History::plan_messages(std::span<const MessageRow> rows) {
  const std::lock_guard guard(mutex_);
  return in_transaction(
      [&](Writer& writer) {
        for (const MessageRow& row : rows) writer.messages.put(row);
      },
      true);
}

tl::expected<void, Trouble> History::begin_sending(std::span<const std::int64_t> ids, std::int64_t sending) {
  const std::lock_guard guard(mutex_);
  return in_transaction(
      [&](Writer& writer) {
        for (const std::int64_t id : ids) writer.messages.begin.run(sending, id);
      },
      true);
}

tl::expected<void, Trouble> History::end_sending(std::span<const std::int64_t> ids, const SendingEnd& end) {
  const std::lock_guard guard(mutex_);
  return in_transaction(
      [&](Writer& writer) {
        for (const std::int64_t id : ids)
          writer.messages.end.run(name_of(end.state), end.answered ? -1 : 0, end.next_try, end.sent,
                                  std::string_view{end.answer}.substr(0, answer_bytes_max), id);
      },
      true);
}

void History::set_life(const rules::LifeSettings& life) {
  const std::lock_guard guard(mutex_);
  life_ = life;
}

tl::expected<void, Trouble> History::tend(Time now) {
  const std::lock_guard guard(mutex_);
  auto outcome = in_transaction([&](Writer& writer) {
    writer.lives.end_shelves(writer.database, now);
    (void)writer.retire(settings_, now);
  });
  if (!outcome) return outcome;
  const bool quiet = !std::exchange(committed_since_tend_, false);
  return tended([&] { checkpoint(quiet); });
}

std::uint64_t History::needed_from() const {
  const std::lock_guard guard(mutex_);
  return needed_from_;
}

// A checkpoint that fails takes nothing back: what was committed stays in the log.
template <typename Work>
tl::expected<void, Trouble> History::tended(Work work) {
  try {
    work();
  } catch (const StoreError& error) {
    if (trouble_of(error).cause == TroubleCause::busy) return {};  // a reader is in the way: next time
    return undone(error);
  }
  return {};
}

void History::checkpoint(bool quiet) {
  std::error_code ignored;
  const auto log_bytes = std::filesystem::file_size(settings_.file + "-wal", ignored);
  const bool cut = quiet && !ignored && log_bytes > static_cast<std::uintmax_t>(wal_bytes_quiet);
  const Database::Log log = writer_->database.checkpoint(cut);
  // Only when all of the log is in the file, synced, is the last commit safe from a power cut.
  if (log.pages == log.checkpointed) needed_from_ = resume_from_;
}

void History::take_cursors() {
  Database& database = writer_->database;
  database.execute("BEGIN IMMEDIATE");
  std::vector<std::string> stored;
  {
    Statement names = database.prepare("SELECT DISTINCT name FROM cursors");
    while (names.step()) stored.push_back(names.take<std::string>());
  }
  for (const std::string& name : stored) {
    const bool used = std::any_of(settings_.cursors.begin(), settings_.cursors.end(),
                                  [&](const CursorUse& use) { return use.name == name; });
    if (used || settings_.keep_other_cursors) continue;
    database.prepare("DELETE FROM cursors WHERE name = ?").run(name);
    events::cursor_forgotten(name);
  }
  for (const CursorUse& use : settings_.cursors)
    for (const Feed feed : use.feeds) {
      const std::string last = "SELECT coalesce(max(id), 0) FROM " + std::string(name_of(feed));
      const std::int64_t start = use.from_beginning ? 0 : database.number(last);
      database.prepare("INSERT OR IGNORE INTO cursors VALUES (?, ?, ?)").run(use.name, name_of(feed), start);
    }
  database.execute("COMMIT");
}

}  // namespace driftline::history
