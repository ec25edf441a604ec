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
  testing::TempFolder folder_;
  std::unique_ptr<history::History> history_;
  Outbox outbox_;
};

TEST_F(OutboxOverHistory, gives_the_same_page_until_it_is_confirmed) {
  // A page that the broker did not confirm would be skipped.
  open();
  commit(3, 2);
  EXPECT_EQ(outbox_.next(100).rows, 5U);
  const OutboxPage again = outbox_.next(100);
  EXPECT_EQ(again.rows, 5U);
  EXPECT_EQ(again.messages.size(), 7U);
  outbox_.confirmed();
  EXPECT_EQ(outbox_.next(100).rows, 0U);
}

TEST_F(OutboxOverHistory, goes_on_after_a_restart_where_it_was_confirmed) {
  // Everything since the first day would be published at each start.
  open();
  commit(3, 2);
  EXPECT_EQ(outbox_.next(4).rows, 4U);
  outbox_.confirmed();
  open();
  EXPECT_EQ(outbox_.next(100).rows, 1U);
}

TEST_F(OutboxOverHistory, what_is_open_is_standing) {
  // A broker that lost its store would show no open warning until the next change.
  open();
  commit(0, 1);
  ASSERT_EQ(outbox_.standing().size(), 1U);
  EXPECT_EQ(outbox_.standing()[0].topic, "driftline/warnings/northyard/ps-01/line-2/slow-to-pressure");
  commit(0, 1, Change::cleared);
  EXPECT_TRUE(outbox_.standing().empty());
}

}  // namespace
}  // namespace driftline::broker
