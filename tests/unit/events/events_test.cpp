#include "gateway/events/events.h"

#include <gtest/gtest.h>
#include <spdlog/sinks/ostream_sink.h>
#include <spdlog/spdlog.h>

#include <memory>
#include <sstream>

#include "gateway/events/limits.h"

namespace driftline::events {
namespace {

class Events : public ::testing::Test {
 protected:
  Events() : before_(spdlog::default_logger()) {
    auto logger =
        std::make_shared<spdlog::logger>("test", std::make_shared<spdlog::sinks::ostream_sink_mt>(said_));
    logger->set_pattern("%l %v");
    spdlog::set_default_logger(std::move(logger));
  }
  ~Events() override { spdlog::set_default_logger(before_); }
  std::string said() {
    std::string text = said_.str();
    said_.str("");
    return text;
  }
  static std::uint64_t total(std::string_view event) {
    std::uint64_t n = 0;
    for (const Count& count : counts())
      if (count.event == event) n += count.total;
    return n;
  }

 private:
  std::ostringstream said_;
  std::shared_ptr<spdlog::logger> before_;
};

TEST_F(Events, a_burst_is_one_line_and_one_sum) {
  // A broker that refuses us would fill the log; a burst whose end is not summed would hide how long it went
  // on.
  for (int i = 0; i < 1000; ++i) say(Level::warn, "test-burst", "gate-1", "attempt " + std::to_string(i));
  EXPECT_EQ(said(), "warning test-burst [gate-1]: attempt 0\n");
  for (int i = 0; i < fold_flushes; ++i) flush();
  EXPECT_EQ(said(), "warning test-burst [gate-1]: and 999 more, the last: attempt 999\n");
  EXPECT_EQ(total("test-burst"), 1000U);
}

TEST_F(Events, a_change_of_state_is_said_at_once_a_few_times_and_then_summed) {
  // That a link is back after a short loss would be told a minute late; one that flaps would fill the log.
  for (int i = 0; i < changes_unfolded; ++i) {
    say_change(Level::warn, "test-lost", "gate-1", "lost");
    EXPECT_EQ(said(), "warning test-lost [gate-1]: lost\n");
    say_change(Level::info, "test-back", "gate-1", "back");
    EXPECT_EQ(said(), "info test-back [gate-1]: back\n");
    flush();
  }
  say_change(Level::warn, "test-lost", "gate-1", "lost again");
  EXPECT_EQ(said(), "");
  for (int i = 0; i < fold_flushes; ++i) flush();
  EXPECT_EQ(said(), "warning test-lost [gate-1]: and 1 more, the last: lost again\n");
}

TEST_F(Events, another_subject_is_said_at_once) {
  // The second station's trouble would be hidden behind the first one's.
  say(Level::info, "test-subjects", "a", "x");
  say(Level::info, "test-subjects", "b", "y");
  EXPECT_EQ(said(), "info test-subjects [a]: x\ninfo test-subjects [b]: y\n");
}

TEST_F(Events, after_a_quiet_interval_it_is_said_at_once_again) {
  // The second outage of a day would not be told until its sum.
  say(Level::info, "test-again", "", "first");
  for (int i = 0; i < fold_flushes; ++i) flush();
  say(Level::info, "test-again", "", "second");
  EXPECT_EQ(said(), "info test-again: first\ninfo test-again: second\n");
}

TEST_F(Events, the_end_of_the_program_says_what_was_held_back) {
  // The last burst would be lost.
  say(Level::info, "test-end", "", "first");
  say(Level::info, "test-end", "", "second");
  (void)said();
  flush(true);
  EXPECT_EQ(said(), "info test-end: and 1 more, the last: second\n");
}

TEST_F(Events, text_from_outside_cannot_forge_a_line) {
  // A payload with a line end would write what it likes into the log.
  say(Level::warn, "test-escape", "a\nb", std::string("x\n\x1b[31m") + std::string(2 * text_bytes_max, 'y'));
  const std::string line = said();
  EXPECT_EQ(line.find('\n'), line.size() - 1);
  EXPECT_NE(line.find("[a\\x0ab]: x\\x0a\\x1b[31m"), std::string::npos);
  EXPECT_LT(line.size(), text_bytes_max + 100);
}

TEST_F(Events, a_count_says_nothing) {
  // A line a message would be the end of throughput.
  count("test-count", "", 5);
  count("test-count", "", 2);
  EXPECT_EQ(said(), "");
  EXPECT_EQ(total("test-count"), 7U);
}

}  // namespace
}  // namespace driftline::events
