#include <gtest/gtest.h>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/history/failing_store.h"
#include "tests/unit/journal/folder.h"

namespace driftline::history {
namespace {

constexpr int batches = 5;

class HistoryFaults : public ::testing::TestWithParam<std::tuple<int, int, bool>> {
 protected:
  HistoryFaults() { install_failing_store(); }
  ~HistoryFaults() override { failing_store = FailingStore{}; }
};

// Commits each batch until it is stored, moves a cursor and tends now and then, as the gateway does.
void store_stubbornly(History& history) {
  for (int number = 0; number < batches; ++number) {
    int attempts = 0;
    while (!history.commit(batch_of(number))) ASSERT_LT(++attempts, 20) << "no way back";
    const CursorMark mark{Feed::half_cycles, number};
    (void)history.advance("metrics", {&mark, 1});
    if (number % 3 == 0) (void)history.tend(time_from_ms(0));
  }
}

void expect_all_stored_once(const std::string& file) {
  const auto history = History::open({.file = file});
  ASSERT_TRUE(history.has_value()) << history.error();
  const auto reader = *Reader::open(file);
  const auto rows = *reader->half_cycles_after(0, 1'000);
  const auto warnings = *reader->warnings_after(0, 1'000);
  ASSERT_EQ(rows.size(), static_cast<std::size_t>(batches));
  ASSERT_EQ(warnings.size(), static_cast<std::size_t>(batches));
  for (int number = 0; number < batches; ++number) {
    const auto at = static_cast<std::size_t>(number);
    EXPECT_EQ(rows[at], (Stored<HalfCycleRow>{number + 1, half_cycle_row(number)}));
    EXPECT_EQ(warnings[at].row, warning_change(number));
  }
  EXPECT_EQ((*reader->states()).taken_to, static_cast<std::uint64_t>(batches));
  EXPECT_EQ((*reader->states()).stations.size(), static_cast<std::size_t>(batches));
}

// Whatever write, cut or sync fails, also one that was done all the same: nothing lost, nothing doubled.
TEST_P(HistoryFaults, whatever_call_fails_every_batch_is_stored_once) {
  const auto [count, reason, after_the_deed] = GetParam();
  for (int first = 1;; ++first) {
    const journal::Folder folder;
    const std::string file = folder.path() + "/history.db";
    failing_store = {first, count, reason, after_the_deed, 0};
    {
      const HistorySettings settings{.file = file, .cursors = {{.name = "metrics", .feeds = {Feed::half_cycles}}}};
      auto history = History::open(settings);
      for (int attempt = 0; !history && attempt < 5; ++attempt) history = History::open(settings);
      ASSERT_TRUE(history.has_value()) << "call " << first << ": " << history.error();
      const auto reader = first % 2 == 0 ? *Reader::open(file) : nullptr;  // keeps the log from being worked in at a close
      if (reader != nullptr) (void)reader->states();
      store_stubbornly(**history);
    }
    const int calls = failing_store.calls;
    failing_store = FailingStore{};
    expect_all_stored_once(file);
    if (HasFailure()) FAIL() << "call " << first << " failed";
    if (calls < first) {
      EXPECT_GT(first, 60) << "the loop has not failed every call";
      return;
    }
  }
}

using Way = std::tuple<int, int, bool>;
INSTANTIATE_TEST_SUITE_P(All, HistoryFaults,
                         ::testing::Values(Way{1, SQLITE_FULL, false}, Way{1, SQLITE_IOERR_WRITE, true},
                                           Way{3, SQLITE_IOERR_FSYNC, false}));

}  // namespace
}  // namespace driftline::history
