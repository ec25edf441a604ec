// Lives of warnings and people's acts in the store.
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

class Lives : public ::testing::Test {
 protected:
  Lives() : history_(std::move(*History::open({.file = folder_.path() + "/history.db"}))), reader_(std::move(*Reader::open(history_->file()))) {}

  void change(WarningChange row) {
    Batch batch;
    batch.warnings.push_back(std::move(row));
    batch.resume_from = batch.taken_to = 1;
    ASSERT_TRUE(history_->commit(batch).has_value());
  }
  static WarningChange row(Change change, Condition condition = Condition::slow_to_pressure) {
    WarningChange w = warning_change(2, change);
    w.station = {"northyard", "ps-01"};
    w.condition = condition;
    w.line = condition == Condition::station_silent ? std::nullopt : std::optional(2);
    w.urgency = Urgency::plan;
    return w;
  }
  Act act(LifeEvent what, std::string why = {}) const {
    Act a;
    a.time = row(Change::raised).time + hours{1};
    a.warning = ref_of(row(Change::raised));
    a.what = what;
    a.who = "anna";
    a.why = std::move(why);
    a.via = "page";
    return a;
  }
  std::vector<LifeState> states() {
    std::vector<LifeState> all;
    const auto lives = reader_->lives();
    EXPECT_TRUE(lives.has_value());
    for (const auto& life : *lives) all.push_back(rules::state_of(life.row.life));
    return all;
  }

  const journal::Folder folder_;
  std::unique_ptr<History> history_;
  std::unique_ptr<Reader> reader_;
};

// An acknowledgement that is lost rings everybody again; one that nobody gave lets a line run dry.
TEST_F(Lives, what_the_machine_and_people_do_is_kept_with_who_and_why) {
  change(row(Change::raised));
  EXPECT_EQ(states(), std::vector{LifeState::unacknowledged});
  const auto outcome = history_->act(act(LifeEvent::acknowledge, "on my way"));
  ASSERT_TRUE(outcome.has_value());
  EXPECT_EQ(outcome->answer, ActAnswer::done);
  EXPECT_EQ(states(), std::vector{LifeState::acknowledged});
  EXPECT_EQ(history_->act(act(LifeEvent::acknowledge))->answer, ActAnswer::already);
  change(row(Change::cleared));
  EXPECT_TRUE(states().empty());
  const auto told = reader_->life_changes_after(0, 99).value();
  ASSERT_EQ(told.size(), 3U);
  EXPECT_EQ(told[1].row.who, "anna");
  EXPECT_EQ(told[1].row.why, "on my way");
  EXPECT_EQ(told[1].row.before, LifeState::unacknowledged);
  EXPECT_EQ(told[1].row.after, LifeState::acknowledged);
  EXPECT_EQ(told[2].row.event, LifeEvent::cleared);
}

// A request that is sent again because its answer was lost would note, or shelve, a second time; also after a restart.
TEST_F(Lives, what_is_asked_for_again_under_its_id_is_done_once) {
  change(row(Change::raised));
  Act noted = act(LifeEvent::note, "oil on the floor");
  noted.request = "phone-7/1";
  const auto first = history_->act(noted).value();
  EXPECT_EQ(first.answer, ActAnswer::done);
  EXPECT_FALSE(first.repeated);
  history_.reset();
  history_ = std::move(*History::open({.file = folder_.path() + "/history.db"}));
  noted.time += hours{2};
  const auto again = history_->act(noted).value();
  EXPECT_EQ(again.answer, ActAnswer::done);
  EXPECT_TRUE(again.repeated);
  EXPECT_EQ(again.change_id, first.change_id);
  EXPECT_EQ(reader_->life_changes_after(0, 99)->size(), 2U);
  Act other = act(LifeEvent::note, "oil everywhere");
  other.request = "phone-7/1";
  EXPECT_EQ(history_->act(other)->answer, ActAnswer::request_used);
  other.request = "phone-7/2";
  EXPECT_EQ(history_->act(other)->answer, ActAnswer::done);
  other.request = "two words";
  EXPECT_EQ(history_->act(other)->answer, ActAnswer::unfit_text);
  EXPECT_EQ(reader_->life_changes_after(0, 99)->back().row.request, "phone-7/2");
}

// Whoever opens the store for a moment, with the gateway stopped, must not make its consumers begin again.
TEST_F(Lives, a_store_opened_for_one_act_keeps_the_cursors_of_others) {
  const std::string file = history_->file();
  history_.reset();
  { const auto used = History::open({.file = file, .cursors = {{.name = "metrics", .feeds = {Feed::warnings}}}}); }
  { const auto moment = History::open({.file = file, .keep_other_cursors = true}); }
  EXPECT_EQ(Reader::open(file).value()->cursor("metrics")->size(), 1U);
  { const auto other = History::open({.file = file}); }
  EXPECT_TRUE(Reader::open(file).value()->cursor("metrics")->empty());
}

TEST_F(Lives, the_last_word_of_the_machine_comes_with_its_evidence) {  // the page would show a warning without reasons
  WarningChange raised = row(Change::raised);
  raised.evidence = {{"vent_s", 21.5, 14.25, std::nullopt, "the vent time is up"}};
  change(raised);
  EXPECT_EQ(reader_->lives().value().at(0).row.last, raised);
}

// A station that is silent would ring for each of its lines.
TEST_F(Lives, silence_suppresses_the_others_and_frees_them_again) {
  change(row(Change::raised));
  change(row(Change::raised, Condition::station_silent));
  EXPECT_EQ(states(), (std::vector{LifeState::unacknowledged, LifeState::suppressed}));
  change(row(Change::cleared, Condition::station_silent));
  EXPECT_EQ(states(), (std::vector{LifeState::returned_unacknowledged, LifeState::unacknowledged}));
}

TEST_F(Lives, a_shelf_ends_by_itself_when_the_store_is_tended) {  // or it would be for ever
  change(row(Change::raised));
  Act shelve = act(LifeEvent::shelve, "waits for a hose");
  shelve.until = shelve.time + hours{24};
  ASSERT_EQ(history_->act(shelve)->answer, ActAnswer::done);
  ASSERT_TRUE(history_->tend(*shelve.until - std::chrono::milliseconds{1}).has_value());
  EXPECT_EQ(states(), std::vector{LifeState::shelved});
  ASSERT_TRUE(history_->tend(*shelve.until).has_value());
  EXPECT_EQ(states(), std::vector{LifeState::unacknowledged});
}

TEST_F(Lives, what_does_not_fit_is_answered_and_not_stored) {  // a click meant for yesterday's warning
  EXPECT_EQ(history_->act(act(LifeEvent::acknowledge))->answer, ActAnswer::unknown_warning);
  change(row(Change::raised));
  Act old = act(LifeEvent::acknowledge);
  old.raised = row(Change::raised).time - hours{1};
  EXPECT_EQ(history_->act(old)->answer, ActAnswer::another_raise);
  for (Act bad : {act(LifeEvent::note), act(LifeEvent::raised), act(LifeEvent::note, std::string(501, 'a')), act(LifeEvent::note, "\xff")}) EXPECT_EQ(history_->act(bad)->answer, ActAnswer::unfit_text);
  Act nobody = act(LifeEvent::acknowledge);
  nobody.who.clear();
  EXPECT_EQ(history_->act(nobody)->answer, ActAnswer::unfit_text);
  EXPECT_EQ(reader_->life_changes_after(0, 99).value().size(), 1U);
}

}  // namespace
}  // namespace driftline::history
