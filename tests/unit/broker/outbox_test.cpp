// The documented bytes of what goes out over MQTT, and the cursor over a real history file.
#include "gateway/broker/outbox.h"

#include <gtest/gtest.h>

#include "tests/support/temp_folder.h"

namespace driftline::broker {
namespace {

const StationId station{"northyard", "ps-01"};

WarningChange warning(Change change) {
  WarningChange row;
  row.time = time_from_ms(1'772'344'800'310);
  row.station = station;
  row.line = 2;
  row.condition = Condition::slow_to_pressure;
  row.urgency = Urgency::plan;
  row.change = change;
  row.causes = {{Cause::slow_leak, 1.0}};
  row.text = "Line 2 takes longer";
  return row;
}

TEST(Outbox, a_raised_warning_is_a_state_and_a_change) {
  // Whoever connects later would not know of it, or whoever listens would not be told.
  std::vector<Outgoing> out;
  append_messages(out, "driftline", warning(Change::raised));
  ASSERT_EQ(out.size(), 2U);
  EXPECT_EQ(out[0].topic, "driftline/warnings/northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_TRUE(out[0].retained);
  EXPECT_EQ(out[1].topic, "driftline/changes/northyard/ps-01");
  EXPECT_FALSE(out[1].retained);
  EXPECT_EQ(out[0].payload, out[1].payload);
  EXPECT_EQ(out[0].payload.substr(0, 54), R"({"time":"2026-03-01T06:00:00.310Z","site":"northyard",)");
  EXPECT_EQ(out[0].payload.back(), '}');
}

TEST(Outbox, a_cleared_warning_empties_its_state_and_tells_why) {
  // It would stand retained for ever.
  std::vector<Outgoing> out;
  append_messages(out, "driftline", warning(Change::cleared));
  ASSERT_EQ(out.size(), 2U);
  EXPECT_EQ(out[0].payload, "");
  EXPECT_TRUE(out[0].retained);
  EXPECT_NE(out[1].payload.find(R"("change":"cleared")"), std::string::npos);
}

class OutboxOverHistory : public ::testing::Test {
 protected:
  void open() {
    history_.reset();
    auto opened =
        history::History::open({.file = folder_.file("history.db"), .cursors = {mqtt_cursor_use()}});
    ASSERT_TRUE(opened) << opened.error();
    history_ = std::move(*opened);
    outbox_ = history_outbox(*history_, "driftline");
  }
  void commit(int half_cycles, int warnings, Change change = Change::raised) {
    history::Batch batch;
    for (int i = 0; i < half_cycles; ++i) batch.half_cycles.push_back({station, {}});
    for (int i = 0; i < warnings; ++i) batch.warnings.push_back(warning(change));
    ASSERT_TRUE(history_->commit(batch));
  }
  void act(rules::LifeEvent what, std::optional<Time> until = {}) {
    const auto outcome = history_->act({.time = time_from_ms(1'772'345'400'310), .warning = {station, 2, Condition::slow_to_pressure}, .what = what,
                                        .who = "Anna", .why = "on my way", .via = "page", .until = until});
    ASSERT_TRUE(outcome);
    ASSERT_EQ(outcome->answer, rules::ActAnswer::done);
  }
  static std::vector<std::string> topics_of(const OutboxPage& page) {
    std::vector<std::string> topics;
    for (const Outgoing& message : page.messages) topics.push_back(message.topic);
    return topics;
  }
  testing::TempFolder folder_;
  std::unique_ptr<history::History> history_;
  Outbox outbox_;
};

TEST_F(OutboxOverHistory, gives_the_same_page_until_it_is_confirmed) {
  // A page that the broker did not confirm would be skipped.
  open();
  commit(3, 1);
  const OutboxPage first = outbox_.next(100);
  EXPECT_EQ(first.rows, 5U);  // and the change of the warning's life
  const OutboxPage again = outbox_.next(100);
  EXPECT_EQ(again.rows, 5U);
  EXPECT_EQ(topics_of(again), topics_of(first));
  EXPECT_EQ(again.messages.size(), 7U);
  outbox_.confirmed();
  EXPECT_EQ(outbox_.next(100).rows, 0U);
}

TEST_F(OutboxOverHistory, goes_on_after_a_restart_where_it_was_confirmed) {
  // Everything since the first day would be published at each start.
  open();
  commit(3, 1);
  EXPECT_EQ(outbox_.next(4).rows, 4U);
  outbox_.confirmed();
  open();
  EXPECT_EQ(outbox_.next(100).rows, 1U);
}

TEST_F(OutboxOverHistory, what_is_open_is_standing) {
  // A broker that lost its store would show no open warning, and not whose it is, until the next change.
  open();
  commit(0, 1);
  ASSERT_EQ(outbox_.standing().size(), 2U);
  EXPECT_EQ(outbox_.standing()[0].topic, "driftline/warnings/northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_EQ(outbox_.standing()[1].topic, "driftline/lives/northyard/ps-01/line-2/slow-to-pressure");
  act(rules::LifeEvent::acknowledge);
  commit(0, 1, Change::cleared);
  EXPECT_TRUE(outbox_.standing().empty());
}

TEST_F(OutboxOverHistory, who_took_a_warning_is_told_once_and_stands) {
  // Two would drive out for one warning, or a screen would ring on after it was answered.
  open();
  commit(0, 1);
  (void)outbox_.next(100);
  outbox_.confirmed();
  act(rules::LifeEvent::acknowledge);
  const OutboxPage page = outbox_.next(100);
  ASSERT_EQ(page.messages.size(), 2U);
  EXPECT_EQ(page.messages[0].topic, "driftline/life-changes/northyard/ps-01");
  EXPECT_FALSE(page.messages[0].retained);
  EXPECT_EQ(page.messages[0].payload,
            R"({"time":"2026-03-01T06:10:00.310Z","site":"northyard","station":"ps-01","line":2,"condition":"slow-to-pressure",)"
            R"("event":"acknowledge","before":"unacknowledged","after":"acknowledged","urgency":"plan",)"
            R"("raised":"2026-03-01T06:00:00.310Z","who":"Anna","why":"on my way","via":"page","owner":"Anna","until":null,"request":null})");
  EXPECT_EQ(page.messages[1].topic, "driftline/lives/northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_TRUE(page.messages[1].retained);
  EXPECT_EQ(page.messages[1].payload,
            R"({"site":"northyard","station":"ps-01","line":2,"condition":"slow-to-pressure","state":"acknowledged","urgency":"plan",)"
            R"("raised":"2026-03-01T06:00:00.310Z","owner":"Anna","shelved_until":null,"shelved_by":null,"out_of_service_by":null})");
  outbox_.confirmed();
  open();
  EXPECT_EQ(outbox_.next(100).rows, 0U);
}

TEST_F(OutboxOverHistory, a_note_on_a_shelved_warning_keeps_its_end) {
  // The row of a note has no end: the retained state would say "shelved" without saying until when.
  open();
  commit(0, 1);
  act(rules::LifeEvent::shelve, time_from_ms(1'772'344'800'310) + std::chrono::hours{5});
  act(rules::LifeEvent::note);
  const OutboxPage page = outbox_.next(100);
  ASSERT_EQ(page.messages.size(), 2U + 3U + 1U);  // the state of a page's warning once, after all of its changes
  EXPECT_NE(page.messages.back().payload.find(R"("state":"shelved")"), std::string::npos);
  EXPECT_NE(page.messages.back().payload.find(R"("shelved_until":"2026-03-01T11:00:00.310Z","shelved_by":"Anna")"), std::string::npos);
}

TEST_F(OutboxOverHistory, a_warning_that_has_ended_empties_its_life) {
  // "Anna has it" would stand retained for ever.
  open();
  commit(0, 1);
  act(rules::LifeEvent::acknowledge);
  commit(0, 1, Change::cleared);
  const OutboxPage page = outbox_.next(100);
  EXPECT_EQ(page.messages.back().topic, "driftline/lives/northyard/ps-01/line-2/slow-to-pressure");
  EXPECT_TRUE(page.messages.back().retained);
  EXPECT_EQ(page.messages.back().payload, "");
}

}  // namespace
}  // namespace driftline::broker
