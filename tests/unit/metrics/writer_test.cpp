#include "gateway/metrics/writer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "gateway/history/reader.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/journal/folder.h"

namespace driftline::metrics {
namespace {

using history::Feed;
using std::chrono::milliseconds;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::SizeIs;

// A server that keeps lines, and answers as it is told to.
class Server {
 public:
  Answer operator()(std::string_view text) {
    ++requests;
    std::vector<std::string> lines;
    while (!text.empty()) {
      lines.emplace_back(text.substr(0, text.find('\n') + 1));
      text.remove_prefix(lines.back().size());
    }
    largest = std::max(largest, lines.size());
    if (const auto answer = refuse ? refuse(lines) : std::nullopt) return *answer;
    kept.insert(lines.begin(), lines.end());
    return {204, "", {}};
  }

  std::function<std::optional<Answer>(const std::vector<std::string>&)> refuse;
  std::multiset<std::string> kept;
  int requests = 0;
  std::size_t largest = 0;
};

class MetricsWriterTest : public ::testing::Test {
 protected:
  MetricsWriterTest() {
    auto opened = history::History::open({.file = folder_.path() + "/history.db", .cursors = {cursor_use()}});
    EXPECT_TRUE(opened.has_value()) << opened.error();
    history_ = std::move(*opened);
    settings_.counters_s = 0;
    renew_writer();
  }
  void renew_writer() {
    writer_ = std::make_unique<Writer>(
        settings_, *history_, [this] { return now_; }, [this](std::string_view lines) { return server_(lines); });
  }
  // Half-cycles with ids in their `samples`.
  void store(int count) {
    history::Batch batch;
    for (int i = 0; i < count; ++i) {
      batch.half_cycles.push_back(history::half_cycle_row(stored_));
      batch.half_cycles.back().half_cycle.samples = ++stored_;
    }
    ASSERT_TRUE(history_->commit(batch).has_value());
  }
  // Steps until nothing is left or the writer wants to wait; gives the wait.
  milliseconds run() {
    for (int steps = 0; steps < 100'000; ++steps)
      if (const milliseconds wait = writer_->step(); wait.count() > 0) return wait;
    ADD_FAILURE() << "never rests";
    return {};
  }
  std::int64_t cursor() {
    auto reader = history::Reader::open(history_->file());
    return (*reader)->cursor("metrics")->front().id;
  }
  std::vector<history::Stored<history::RefusedRow>> aside() {
    auto reader = history::Reader::open(history_->file());
    return *(*reader)->refused_after(0, 10'000);
  }
  static bool holds(const std::vector<std::string>& lines, int row) {
    const std::string field = ",samples=" + std::to_string(row) + "i,";
    return std::any_of(lines.begin(), lines.end(), [&](const auto& line) { return line.find(field) != line.npos; });
  }

  const journal::Folder folder_;
  Time now_ = time_from_ms(1'772'344'800'000);
  MetricsSettings settings_;
  std::unique_ptr<history::History> history_;
  Server server_;
  std::unique_ptr<Writer> writer_;
  int stored_ = 0;
};

// Rows that do not arrive, or arrive twice without a crash, make wrong charts.
TEST_F(MetricsWriterTest, sends_each_row_once_in_batches) {
  settings_.batch_lines = 100;
  renew_writer();
  store(250);
  EXPECT_EQ(run(), milliseconds{settings_.poll_ms});
  EXPECT_THAT(server_.kept, SizeIs(250));
  EXPECT_EQ(std::set<std::string>(server_.kept.begin(), server_.kept.end()).size(), 250U);
  EXPECT_EQ(server_.largest, 100U);
  EXPECT_EQ(server_.requests, 3);
  EXPECT_EQ(cursor(), 250);
  run();
  EXPECT_EQ(server_.requests, 3);
}

// One row that the server cannot take must neither stop the others nor vanish.
TEST_F(MetricsWriterTest, a_refused_batch_is_halved_down_to_the_row_which_is_kept_with_the_answer) {
  for (const int status : {400, 422}) {
    server_.refuse = [&](const auto& lines) -> std::optional<Answer> {
      if (!holds(lines, stored_ - 60) && !holds(lines, stored_)) return std::nullopt;
      return Answer{status, "field type conflict", {}};
    };
    store(100);
    run();
    EXPECT_EQ(cursor(), stored_);
  }
  EXPECT_EQ(std::set<std::string>(server_.kept.begin(), server_.kept.end()).size(), 196U);
  const auto rows = aside();
  ASSERT_THAT(rows, SizeIs(4));
  EXPECT_EQ(rows[0].row.row_id, 40);
  EXPECT_EQ(rows[1].row.row_id, 100);
  EXPECT_EQ(rows[3].row.row_id, 200);
  EXPECT_EQ(rows[3].row.status, 422);
  EXPECT_EQ(rows[3].row.answer, "field type conflict");
  EXPECT_THAT(rows[3].row.sent, ::testing::StartsWith("half_cycle,"));
  EXPECT_EQ(writer_->status().rows_put_aside, 4U);
}

// A batch too large for a proxy must get through in smaller ones.
TEST_F(MetricsWriterTest, too_large_is_answered_with_less) {
  server_.refuse = [](const auto& lines) -> std::optional<Answer> {
    return lines.size() > 30 ? std::optional(Answer{413, "", {}}) : std::nullopt;
  };
  store(400);
  EXPECT_EQ(run(), milliseconds{settings_.poll_ms});
  EXPECT_THAT(server_.kept, SizeIs(400));
  EXPECT_EQ(cursor(), 400);
  EXPECT_THAT(aside(), IsEmpty());
}

// A server that is down for hours costs nothing but waiting.
TEST_F(MetricsWriterTest, waits_longer_and_longer_while_the_server_is_away_and_loses_nothing) {
  store(10);
  for (const int status : {0, 429, 500, 502, 503, 504}) {
    server_.refuse = [status](const auto&) { return std::optional(Answer{status, "away", {}}); };
    EXPECT_GT(run(), milliseconds{0});
    EXPECT_EQ(writer_->status().state, WriterStatus::State::down);
  }
  milliseconds longest{0};
  for (int i = 0; i < 30; ++i) longest = std::max(longest, run());
  EXPECT_GT(longest, wait_most / 2);
  EXPECT_LE(longest, wait_most);
  EXPECT_EQ(cursor(), 0);
  server_.refuse = nullptr;
  store(5);
  run();
  EXPECT_THAT(server_.kept, SizeIs(15));
  EXPECT_EQ(writer_->status().state, WriterStatus::State::sending);
}

// A server that names its time must be given it, but not for ever.
TEST_F(MetricsWriterTest, waits_as_long_as_the_server_asks_but_ten_minutes_at_most) {
  store(1);
  server_.refuse = [](const auto&) { return std::optional(Answer{429, "", std::chrono::seconds{120}}); };
  const milliseconds wait = run();
  EXPECT_GE(wait, milliseconds{120'000});
  EXPECT_LE(wait, milliseconds{121'000});
  server_.refuse = [](const auto&) { return std::optional(Answer{503, "", std::chrono::seconds{86'400}}); };
  EXPECT_LE(run(), milliseconds{601'000});
}

// A wrong token must not throw rows away.
TEST_F(MetricsWriterTest, keeps_rows_while_it_may_not_write) {
  store(3);
  for (const int status : {401, 403, 404, 302}) {
    server_.refuse = [&](const auto&) { return std::optional(Answer{status, "no", {}}); };
    EXPECT_GT(run(), milliseconds{0});
    EXPECT_EQ(writer_->status().state, WriterStatus::State::denied);
    EXPECT_EQ(cursor(), 0);
  }
  server_.refuse = nullptr;
  run();
  EXPECT_THAT(server_.kept, SizeIs(3));
  EXPECT_THAT(aside(), IsEmpty());
}

// A proxy that says 400 to everything for some minutes must not empty the history into the table of refused rows.
TEST_F(MetricsWriterTest, a_server_that_refuses_everything_is_waited_out) {
  store(300);
  server_.refuse = [](const auto&) { return std::optional(Answer{400, "bad gateway configuration", {}}); };
  for (int i = 0; i < holds_max; ++i) {
    EXPECT_GT(run(), milliseconds{0});
    EXPECT_EQ(writer_->status().state, WriterStatus::State::refusing);
    EXPECT_EQ(cursor(), 0);
    EXPECT_THAT(aside(), IsEmpty());
  }
  EXPECT_LT(server_.requests, 150);
  server_.refuse = nullptr;
  run();
  EXPECT_THAT(server_.kept, SizeIs(300));
  EXPECT_THAT(aside(), IsEmpty());
}

// ... and one that never stops saying so must not stop the cursor for ever.
TEST_F(MetricsWriterTest, rows_that_are_never_taken_are_put_aside_in_the_end) {
  store(300);
  server_.refuse = [](const auto&) { return std::optional(Answer{400, "beyond retention policy", {}}); };
  for (int i = 0; i <= holds_max; ++i) run();
  EXPECT_EQ(cursor(), 300);
  EXPECT_THAT(aside(), SizeIs(300));
}

// A crash between the server's answer and the cursor's move sends rows again: under the same key with the same fields.
TEST_F(MetricsWriterTest, after_a_crash_rows_are_sent_again_as_they_were) {
  store(20);
  ASSERT_EQ(writer_->step(), milliseconds{0});  // reads
  ASSERT_EQ(writer_->step(), milliseconds{0});  // sends
  renew_writer();
  run();
  EXPECT_THAT(server_.kept, SizeIs(40));
  EXPECT_EQ(std::set<std::string>(server_.kept.begin(), server_.kept.end()).size(), 20U);
}

// A row that cannot be a line must be told, not dropped.
TEST_F(MetricsWriterTest, a_row_unfit_for_a_line_is_put_aside_with_the_reason) {
  history::Batch batch;
  batch.half_cycles = {history::half_cycle_row(1), history::half_cycle_row(2), history::half_cycle_row(3)};
  batch.half_cycles[1].station.station = "ps 2";
  ASSERT_TRUE(history_->commit(batch).has_value());
  run();
  EXPECT_THAT(server_.kept, SizeIs(2));
  const auto rows = aside();
  ASSERT_THAT(rows, SizeIs(1));
  EXPECT_EQ(rows[0].row.row_id, 2);
  EXPECT_EQ(rows[0].row.answer, "bad-tag");
}

// Points of one key overwrite each other (influxdb issue 4150): faults of one millisecond must be summed before.
TEST_F(MetricsWriterTest, faults_of_one_millisecond_share_a_point_also_across_batches) {
  settings_.batch_lines = 10;
  renew_writer();
  history::Batch batch;
  for (int i = 0; i < 8; ++i) batch.faults.push_back(history::fault_row(2));
  for (int i = 0; i < 5; ++i) batch.faults.push_back(history::fault_row(4));
  batch.faults.push_back(history::fault_row(6));
  ASSERT_TRUE(history_->commit(batch).has_value());
  run();
  ASSERT_THAT(server_.kept, SizeIs(3));
  std::vector<std::string> counts;
  for (const std::string& line : server_.kept) counts.push_back(line.substr(line.find("count="), 8));
  EXPECT_THAT(counts, ::testing::UnorderedElementsAre("count=8i", "count=5i", "count=1i"));
}

// The gateway's own counters are of the moment, and must not hold up the rows.
TEST_F(MetricsWriterTest, sends_its_own_counters_when_they_are_due) {
  settings_.counters_s = 60;
  renew_writer();
  store(1);
  run();
  EXPECT_EQ(server_.requests, 2);
  EXPECT_THAT(server_.kept,
              ::testing::Contains(::testing::StartsWith("gateway,event=metrics-lines-taken,gateway=driftline total=")));
  run();
  EXPECT_EQ(server_.requests, 2);
  now_ += std::chrono::seconds{60};
  run();
  EXPECT_EQ(server_.requests, 3);
}

}  // namespace
}  // namespace driftline::metrics
