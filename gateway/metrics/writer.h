// Brings the history's rows to a time-series server: a cursor ("metrics") that moves when the server has taken them.
//
// At least once: a row may be sent again after a crash, under the same key with the same fields. A server that is away for
// hours costs nothing but waiting. Rows that the server refuses for good are put aside in the history with its answer and
// counted; a batch is halved until they stand alone. 204 is taken as "taken": one of the servers answers so to lines that
// it cannot read, which is why what is sent is checked here first (line.h).
//
// `step` does one thing (one question, one request or one cursor move) and says how long to wait; the thread calls it in a
// loop. Tests call it themselves.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <random>
#include <string>
#include <thread>

#include "gateway/history/history.h"
#include "gateway/metrics/batch.h"
#include "gateway/metrics/http.h"
#include "gateway/metrics/settings.h"

namespace driftline::metrics {

// What History is to be opened with while this writer is in use.
[[nodiscard]] history::CursorUse cursor_use();

struct WriterStatus {
  enum class State : std::uint8_t { idle, sending, down, denied, refusing };
  State state = State::idle;
  std::string why;              // of down, denied, refusing
  Time since{};                 // of the state
  std::uint64_t lines_taken = 0;
  std::uint64_t rows_put_aside = 0;
};

class Writer {
 public:
  using Clock = std::function<Time()>;  // the wall clock
  using Post = std::function<Answer(std::string_view lines)>;

  // The history outlives the writer.
  Writer(const MetricsSettings& settings, history::History& history, Clock clock);
  // With a body of one's own for requests, for tests.
  Writer(const MetricsSettings& settings, history::History& history, Clock clock, Post post);
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer();  // stops

  void start();
  void stop();  // a request under way is given up; its rows come again at the next start
  [[nodiscard]] WriterStatus status() const;
  // Moves while the thread lives, also while it waits for a server that is away.
  [[nodiscard]] std::uint64_t pulse() const { return pulse_; }

  std::chrono::milliseconds step();

 private:
  using State = WriterStatus::State;
  struct Range {
    std::size_t first = 0;
    std::size_t last = 0;  // one past
  };

  void run();
  std::chrono::milliseconds load();
  std::chrono::milliseconds send();
  std::chrono::milliseconds finish();
  std::chrono::milliseconds send_counters();
  [[nodiscard]] bool counters_due();

  std::chrono::milliseconds judge_bad_rows(const Answer& answer);
  std::chrono::milliseconds hold(const Answer& answer);
  void put_aside(const LineOrigin& origin, std::string_view line, const Answer& answer);
  void put_rest_aside(const Answer& answer);
  void halve_front();
  std::chrono::milliseconds back_off(std::chrono::seconds asked_for);
  void enter(State state, const std::string& why);
  std::chrono::milliseconds trouble(const history::Trouble& trouble);
  [[nodiscard]] std::int64_t rows_waiting();

  const MetricsSettings settings_;
  history::History& history_;
  const Clock clock_;
  std::unique_ptr<Poster> poster_;
  Post post_;

  std::unique_ptr<history::Reader> reader_;
  Marks marks_;
  std::optional<Batch> batch_;
  std::deque<Range> ranges_;  // of batch_, still to be sent
  std::vector<history::RefusedRow> aside_;
  int lines_in_request_;      // falls at 413, rises again
  int refused_in_a_row_ = 0;
  int holds_ = 0;
  int failures_ = 0;
  std::optional<Time> counters_sent_;
  std::minstd_rand random_;

  mutable std::mutex mutex_;  // status_, stopping_
  WriterStatus status_;
  bool stopping_ = false;
  std::atomic<std::uint64_t> pulse_{0};
  std::condition_variable stop_;
  std::thread thread_;
};

}  // namespace driftline::metrics
