#include "gateway/history/database.h"

#include <sqlite3.h>

#include <utility>

#include "gateway/history/limits.h"

namespace driftline::history {
namespace {

[[noreturn]] void fail(sqlite3* database, int code) {
  const std::string text = database != nullptr ? sqlite3_errmsg(database) : sqlite3_errstr(code);
  throw StoreError(database != nullptr ? sqlite3_extended_errcode(database) : code, text);
}

}  // namespace

StoreError::StoreError(int code_, const std::string& text)
    : std::runtime_error(text + " (" + std::to_string(code_) + ")"), code(code_) {}

Trouble trouble_of(const StoreError& error) {
  const auto cause = [&] {
    switch (error.code & 0xFF) {
      case SQLITE_BUSY:
      case SQLITE_LOCKED: return TroubleCause::busy;
      case SQLITE_FULL: return TroubleCause::disk_full;
      case SQLITE_IOERR:
      case SQLITE_NOMEM:
      case SQLITE_INTERRUPT: return TroubleCause::io_failed;
      case SQLITE_CORRUPT:
      case SQLITE_NOTADB: return TroubleCause::damaged;
      case SQLITE_CANTOPEN:
      case SQLITE_PERM:
      case SQLITE_READONLY:
      case SQLITE_AUTH: return TroubleCause::refused;
      default: return TroubleCause::programming;
    }
  }();
  return {cause, error.what()};
}

std::string_view name_of(TroubleCause cause) {
  switch (cause) {
    case TroubleCause::busy: return "busy";
    case TroubleCause::disk_full: return "disk-full";
    case TroubleCause::io_failed: return "io-failed";
    case TroubleCause::damaged: return "damaged";
    case TroubleCause::refused: return "refused";
    case TroubleCause::programming: return "programming";
  }
  return "";
}

std::string_view name_of(Feed feed) {
  switch (feed) {
    case Feed::half_cycles: return "half_cycles";
    case Feed::warnings: return "warnings";
    case Feed::reservoir_days: return "reservoir_days";
    case Feed::forecast_days: return "forecast_days";
    case Feed::faults: return "faults";
    case Feed::life_changes: return "life_changes";
    case Feed::outgoing: return "outgoing";
  }
  return "";
}

Statement::Statement(sqlite3* database, std::string_view sql) : database_(database) {
  check(sqlite3_prepare_v3(database, sql.data(), static_cast<int>(sql.size()), SQLITE_PREPARE_PERSISTENT, &statement_,
                           nullptr));
}

Statement::Statement(Statement&& other) noexcept
    : database_(other.database_), statement_(std::exchange(other.statement_, nullptr)) {}

Statement::~Statement() { sqlite3_finalize(statement_); }

bool Statement::step() {
  column_ = 0;
  const int code = sqlite3_step(statement_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  const StoreError error(sqlite3_extended_errcode(database_), sqlite3_errmsg(database_));
  reset();
  throw error;
}

void Statement::reset() {
  sqlite3_reset(statement_);  // repeats the error of the last step, which was thrown already
  parameter_ = 0;
  column_ = 0;
}

void Statement::check(int code) const {
  if (code != SQLITE_OK) fail(database_, code);
}

void Statement::bind(std::int64_t value) { check(sqlite3_bind_int64(statement_, ++parameter_, value)); }
void Statement::bind(double value) { check(sqlite3_bind_double(statement_, ++parameter_, value)); }
// Texts and blobs outlive the statement's run: bound and stepped in one call, or by the caller.
void Statement::bind(std::string_view text) {
  check(sqlite3_bind_text64(statement_, ++parameter_, text.data() == nullptr ? "" : text.data(), text.size(),
                            SQLITE_TRANSIENT, SQLITE_UTF8));
}
void Statement::bind(Blob blob) {
  check(sqlite3_bind_blob64(statement_, ++parameter_, blob.bytes.data() == nullptr ? "" : blob.bytes.data(),
                            blob.bytes.size(), SQLITE_TRANSIENT));
}
void Statement::bind_null() { check(sqlite3_bind_null(statement_, ++parameter_)); }

bool Statement::is_null() const { return sqlite3_column_type(statement_, column_) == SQLITE_NULL; }
void Statement::take_into(std::int64_t& value) { value = sqlite3_column_int64(statement_, column_++); }
void Statement::take_into(std::uint64_t& value) {
  value = static_cast<std::uint64_t>(sqlite3_column_int64(statement_, column_++));
}
void Statement::take_into(int& value) { value = sqlite3_column_int(statement_, column_++); }
void Statement::take_into(bool& value) { value = sqlite3_column_int(statement_, column_++) != 0; }
void Statement::take_into(double& value) { value = sqlite3_column_double(statement_, column_++); }
void Statement::take_into(Time& value) { value = time_from_ms(take<std::int64_t>()); }
void Statement::take_into(std::string& value) {
  const void* bytes = sqlite3_column_blob(statement_, column_);
  const int size = sqlite3_column_bytes(statement_, column_++);
  value.assign(static_cast<const char*>(bytes == nullptr ? "" : bytes), static_cast<std::size_t>(size));
}

Database::Database(const std::string& file, Mode mode) {
  const int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE |
                    (mode == Mode::write ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY);
  if (const int code = sqlite3_open_v2(file.c_str(), &database_, flags, nullptr); code != SQLITE_OK) {
    const StoreError error(code, file + ": " + (database_ != nullptr ? sqlite3_errmsg(database_) : "no memory"));
    sqlite3_close_v2(database_);
    throw error;
  }
  sqlite3_busy_timeout(database_, busy_ms);
  sqlite3_db_config(database_, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  sqlite3_db_config(database_, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  // Only the writer's connection checkpoints, and only when it is told to.
  sqlite3_wal_hook(database_, mode == Mode::write ? &Database::on_commit : nullptr, this);
  if (mode == Mode::read) sqlite3_db_config(database_, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
}

Database::~Database() { sqlite3_close_v2(database_); }

int Database::on_commit(void* self, sqlite3*, const char*, int pages) {
  static_cast<Database*>(self)->log_pages_ = pages;
  return SQLITE_OK;
}

void Database::execute(const char* sql) {
  if (const int code = sqlite3_exec(database_, sql, nullptr, nullptr, nullptr); code != SQLITE_OK)
    fail(database_, code);
}

std::int64_t Database::number(std::string_view sql) {
  Statement statement = prepare(sql);
  return statement.step() ? statement.take<std::int64_t>() : 0;
}

std::int64_t Database::last_id() const { return sqlite3_last_insert_rowid(database_); }
std::int64_t Database::changes() const { return sqlite3_changes64(database_); }
bool Database::in_transaction() const { return sqlite3_get_autocommit(database_) == 0; }

Database::Log Database::checkpoint(bool cut) {
  Log log;
  sqlite3_busy_timeout(database_, checkpoint_busy_ms);
  const int code = sqlite3_wal_checkpoint_v2(database_, nullptr, cut ? SQLITE_CHECKPOINT_TRUNCATE : SQLITE_CHECKPOINT_PASSIVE,
                                             &log.pages, &log.checkpointed);
  sqlite3_busy_timeout(database_, busy_ms);
  if (code != SQLITE_OK) fail(database_, code);
  log_pages_ = log.pages - log.checkpointed;
  return log;
}

}  // namespace driftline::history
