// SQLite behind a few words of ours. Inside the room only: what fails throws StoreError, which history.cpp and reader.cpp
// turn into Trouble.
#pragma once

#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

#include "gateway/history/rows.h"
#include "rules/records/time.h"

struct sqlite3;
struct sqlite3_stmt;

namespace driftline::history {

struct StoreError : std::runtime_error {
  StoreError(int code, const std::string& text);
  int code;  // SQLite's extended result code
};

[[nodiscard]] Trouble trouble_of(const StoreError& error);

struct Blob {
  std::string_view bytes;
};

// Parameters are bound in the order of their `?`; columns are taken in their order.
class Statement {
 public:
  Statement(sqlite3* database, std::string_view sql);
  Statement(Statement&& other) noexcept;
  Statement& operator=(Statement&&) = delete;
  ~Statement();

  // Binds all parameters and runs a statement that gives no row.
  template <typename... Values>
  void run(const Values&... values) {
    begin(values...);
    (void)step();
    reset();
  }
  // Binds all parameters of a statement that gives rows; then step() until false.
  template <typename... Values>
  void begin(const Values&... values) {
    reset();
    (bind(values), ...);
  }
  [[nodiscard]] bool step();
  void reset();

  template <typename T>
  [[nodiscard]] T take() {
    T value{};
    take_into(value);
    return value;
  }
  template <typename... Values>
  void take_all(Values&... values) {
    (take_into(values), ...);
  }

  void bind(std::int64_t value);
  void bind(std::uint64_t value) { bind(static_cast<std::int64_t>(value)); }
  void bind(int value) { bind(static_cast<std::int64_t>(value)); }
  void bind(bool value) { bind(static_cast<std::int64_t>(value)); }
  void bind(double value);
  void bind(std::string_view text);
  void bind(const std::string& text) { bind(std::string_view{text}); }
  void bind(const char* text) { bind(std::string_view{text}); }
  void bind(Blob blob);
  void bind(Time time) { bind(ms_since_1970(time)); }
  template <typename T>
  void bind(const std::optional<T>& value) {
    value ? bind(*value) : bind_null();
  }

 private:
  void bind_null();
  [[nodiscard]] bool is_null() const;
  void take_into(std::int64_t& value);
  void take_into(std::uint64_t& value);
  void take_into(int& value);
  void take_into(bool& value);
  void take_into(double& value);
  void take_into(std::string& value);  // text or blob
  void take_into(Time& value);
  template <typename T>
  void take_into(std::optional<T>& value) {
    if (is_null()) {
      value.reset();
      ++column_;
    } else {
      take_into(value.emplace());
    }
  }
  void check(int code) const;

  sqlite3* database_;
  sqlite3_stmt* statement_ = nullptr;
  int parameter_ = 0;
  int column_ = 0;
};

class Database {
 public:
  enum class Mode { write, read };
  Database(const std::string& file, Mode mode);
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;
  ~Database();

  [[nodiscard]] Statement prepare(std::string_view sql) { return {database_, sql}; }
  void execute(const char* sql);  // several statements, no parameters
  [[nodiscard]] std::int64_t number(std::string_view sql);
  [[nodiscard]] std::int64_t last_id() const;
  [[nodiscard]] std::int64_t changes() const;
  [[nodiscard]] bool in_transaction() const;

  struct Log {
    int pages = 0;         // in the write-ahead log
    int checkpointed = 0;  // of them, those that are in the file
  };
  // `cut`: also makes the log empty if no reader is in the way.
  [[nodiscard]] Log checkpoint(bool cut);
  [[nodiscard]] int log_pages() const { return log_pages_; }  // after the last commit

 private:
  static int on_commit(void* self, sqlite3*, const char*, int pages);
  sqlite3* database_ = nullptr;
  int log_pages_ = 0;
};

}  // namespace driftline::history
