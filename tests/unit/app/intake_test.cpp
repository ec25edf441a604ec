#include "gateway/app/intake.h"

#include <gtest/gtest.h>

#include "gateway/journal/reader.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

class IntakeTest : public ::testing::Test {
 protected:
  IntakeTest() {
    journal_ = std::move(journal::Journal::open({.directory = folder_.file("journal")}).value());
  }
  Intake intake(Time not_before = {}) {
    return Intake(
        *journal_, [this] { return now_; }, not_before);
  }
  std::vector<Time> stamps() {
    std::vector<Time> all;
    journal::Reader reader(*journal_, 1);
    for (const auto& record : reader.read({}, {})) all.push_back(record.received);
    return all;
  }
  testing::TempFolder folder_;
  std::unique_ptr<journal::Journal> journal_;
  Time now_ = time_from_ms(1'000'000);
};

TEST_F(IntakeTest, a_message_is_never_stamped_before_a_moment_that_was_taken_for_silence) {
  // The judgement would have called a station silent at a time at which its message had already come.
  Intake all = intake();
  now_ = time_from_ms(2'000'000);
  const Mark mark = all.mark();
  now_ = time_from_ms(1'500'000);  // the clock was set back
  ASSERT_TRUE(all.take("grease/a/b/telemetry", "{}"));
  EXPECT_EQ(mark.next, 1U);
  EXPECT_EQ(stamps(), std::vector{time_from_ms(2'000'000)});
}

TEST_F(IntakeTest, a_clock_set_back_between_two_lives_does_not_turn_time_back) {
  // As above, over a restart.
  Intake all = intake(time_from_ms(3'000'000));
  ASSERT_TRUE(all.take("grease/a/b/telemetry", "{}"));
  EXPECT_EQ(stamps(), std::vector{time_from_ms(3'000'000)});
}

TEST_F(IntakeTest, the_mark_stands_behind_what_was_taken) {
  // Silence would be judged before the messages that break it.
  Intake all = intake();
  ASSERT_TRUE(all.take("grease/a/b/telemetry", "{}"));
  ASSERT_TRUE(all.take("grease/a/b/telemetry", "{}"));
  EXPECT_EQ(all.mark().next, 3U);
}

}  // namespace
}  // namespace driftline
