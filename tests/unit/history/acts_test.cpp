#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/history/old_files.h"
#include "tests/unit/journal/folder.h"

namespace driftline::history {
namespace {

using rules::ActAnswer;
using rules::LifeEvent;
using rules::LifeState;
using std::chrono::hours;

const Time now = time_from_ms(1'772'400'000'000);

class Acts : public ::testing::Test {
 protected:
  Acts() { open(); }
  void open() {
    history_.reset();
    history_ = std::move(*History::open({.file = file_}));
    reader_ = std::move(*Reader::open(file_));
  }
  void say(Change change, Urgency urgency = Urgency::plan, Condition condition = Condition::slow_vent) {
    Batch batch;
    WarningChange row = warning_change(0, change);
    row.condition = condition;
    row.line = condition == Condition::station_silent ? std::nullopt : std::optional{2};
    row.urgency = urgency;
    batch.warnings = {row};
    ASSERT_TRUE(history_->commit(batch).has_value());
  }
  ActOutcome act(LifeEvent what, const std::string& who = "duty", std::optional<Time> until = std::nullopt) {
    return *history_->act({.time = now, .warning = slow_vent_, .what = what, .who = who, .why = "seen", .via = "page", .until = until});
  }
  LifeState state() {
    const auto rows = *reader_->lives_of(slow_vent_.station);
    for (const auto& row : rows)
      if (row.row.last.condition == slow_vent_.condition) return rules::state_of(row.row.life);
    return LifeState::normal;
  }
  const journal::Folder folder_;
  const std::string file_ = folder_.path() + "/history.db";
  const WarningRef slow_vent_{station_id(0), 2, Condition::slow_vent};
  std::unique_ptr<History> history_;
  std::unique_ptr<Reader> reader_;
};

// Whoever looks later must find who did what, when and why, and what became of it; also after a restart.
TEST_F(Acts, are_kept_with_time_who_and_why_over_a_restart) {
  say(Change::raised);
  EXPECT_EQ(act(LifeEvent::acknowledge).answer, ActAnswer::done);
  open();
  EXPECT_EQ(state(), LifeState::acknowledged);
  const auto rows = *reader_->latest_life_changes(slow_vent_, true, 9);
  ASSERT_EQ(rows.size(), 1U);
  const LifeChange& row = rows[0].row;
  EXPECT_EQ(row.time, now);
  EXPECT_EQ(row.who, "duty");
  EXPECT_EQ(row.why, "seen");
  EXPECT_EQ(row.via, "page");
  EXPECT_EQ(row.owner, "duty");
  EXPECT_EQ(row.before, LifeState::unacknowledged);
  EXPECT_EQ(row.after, LifeState::acknowledged);
  EXPECT_EQ((*reader_->lives())[0].row.last, [] { auto w = warning_change(0); w.condition = Condition::slow_vent; w.line = 2; w.urgency = Urgency::plan; return w; }());
  EXPECT_EQ(reader_->latest_life_changes(slow_vent_, false, 9)->size(), 2U);
}

// A message that is delivered twice, or a link pressed twice, must not read as two acts; the answer says who has it.
TEST_F(Acts, doing_it_twice_answers_already_and_stores_nothing) {
  say(Change::raised);
  ASSERT_EQ(act(LifeEvent::acknowledge, "anna").answer, ActAnswer::done);
  const ActOutcome second = act(LifeEvent::acknowledge, "ben");
  EXPECT_EQ(second.answer, ActAnswer::already);
  EXPECT_EQ(second.change_id, 0);
  EXPECT_THAT(second.text, ::testing::HasSubstr("anna has it"));
  EXPECT_EQ(reader_->latest_life_changes(slow_vent_, true, 9)->size(), 1U);
}

// A link out of an old mail must not acknowledge what was raised since.
TEST_F(Acts, meant_for_an_earlier_raise_are_refused) {
  say(Change::raised);
  const auto answer = history_->act({.time = now, .warning = slow_vent_, .what = LifeEvent::acknowledge, .who = "duty", .why = "", .via = "link", .raised = now});
  EXPECT_EQ(answer->answer, ActAnswer::another_raise);
  EXPECT_EQ(state(), LifeState::unacknowledged);
}

// Names with controls would run into mail headers, logs and rows.
TEST_F(Acts, unfit_texts_and_unknown_warnings_are_refused) {
  EXPECT_EQ(act(LifeEvent::acknowledge).answer, ActAnswer::unknown_warning);
  say(Change::raised);
  for (const std::string& who : {std::string(), std::string("a\r\nBcc: x"), std::string(81, 'a'), std::string("\xff")})
    EXPECT_EQ(act(LifeEvent::acknowledge, who).answer, ActAnswer::unfit_text);
  EXPECT_EQ(act(LifeEvent::acknowledge, "J\xc3\xb6rg").answer, ActAnswer::done);
}

// A shelf that outlives its end hides a warning; one that is forgotten by a restart rings at night.
TEST_F(Acts, a_shelf_ends_by_itself_also_after_a_restart) {
  say(Change::raised);
  ASSERT_EQ(act(LifeEvent::shelve, "duty", now + hours{5}).answer, ActAnswer::done);
  open();
  ASSERT_TRUE(history_->tend(now + hours{4}).has_value());
  EXPECT_EQ(state(), LifeState::shelved);
  ASSERT_TRUE(history_->tend(now + hours{5}).has_value());
  EXPECT_EQ(state(), LifeState::unacknowledged);
  EXPECT_EQ((*reader_->latest_life_changes(slow_vent_, false, 1))[0].row.event, LifeEvent::shelf_ended);
}

// Lines of a silent station would each ask for an answer about what nobody can see.
TEST_F(Acts, a_silent_station_suppresses_its_other_warnings_by_design) {
  say(Change::raised);
  say(Change::raised, Urgency::plan, Condition::station_silent);
  EXPECT_EQ(state(), LifeState::suppressed);
  say(Change::urgency_changed, Urgency::act);
  EXPECT_EQ(state(), LifeState::unacknowledged);
  say(Change::urgency_changed, Urgency::plan);
  EXPECT_EQ(state(), LifeState::suppressed);
  say(Change::cleared, Urgency::plan, Condition::station_silent);
  EXPECT_EQ(state(), LifeState::unacknowledged);
  say(Change::cleared);
  EXPECT_EQ(state(), LifeState::returned_unacknowledged);
  EXPECT_EQ(act(LifeEvent::acknowledge).answer, ActAnswer::done);
  EXPECT_EQ(state(), LifeState::normal);
}

// Without it what was open before the step would be nobody's.
TEST_F(Acts, what_was_open_before_the_step_is_unacknowledged_after_it) {
  const std::string old = folder_.path() + "/old.db";
  make_old_file(4, old);
  const auto history = History::open({.file = old});
  ASSERT_TRUE(history.has_value()) << history.error();
  const auto open = *(*Reader::open(old))->open_warnings();
  const auto lives = *(*Reader::open(old))->lives();
  ASSERT_EQ(lives.size(), open.size());
  ASSERT_FALSE(lives.empty());
  for (std::size_t i = 0; i < lives.size(); ++i) {
    EXPECT_EQ(lives[i].row.last, open[i].row);
    EXPECT_EQ(rules::state_of(lives[i].row.life), LifeState::unacknowledged);
  }
}

}  // namespace
}  // namespace driftline::history
