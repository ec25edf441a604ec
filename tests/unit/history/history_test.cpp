#include "gateway/history/history.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "gateway/history/reader.h"
#include "gateway/history/schema.h"
#include "rules/records/serialize.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/journal/folder.h"

namespace driftline::history {
namespace {

using journal::Folder;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class HistoryTest : public ::testing::Test {
 protected:
  std::unique_ptr<History> open(HistorySettings settings = {}) {
    settings.file = file_;
    auto opened = History::open(settings);
    EXPECT_TRUE(opened.has_value()) << opened.error();
    return std::move(*opened);
  }
  std::unique_ptr<Reader> reader() {
    auto opened = Reader::open(file_);
    EXPECT_TRUE(opened.has_value()) << opened.error().text;
    return std::move(*opened);
  }

  const Folder folder_;
  const std::string file_ = folder_.path() + "/deep/history.db";
};

template <typename Row>
std::vector<Row> rows_of(const Rows<Row>& answer) {
  EXPECT_TRUE(answer.has_value()) << answer.error().text;
  std::vector<Row> rows;
  for (const auto& stored : *answer) rows.push_back(stored.row);
  return rows;
}

template <typename Row>
std::vector<std::int64_t> ids_of(const Rows<Row>& answer) {
  EXPECT_TRUE(answer.has_value()) << answer.error().text;
  std::vector<std::int64_t> ids;
  for (const auto& stored : *answer) ids.push_back(stored.id);
  return ids;
}

// A figure that comes back changed makes `history` and `replay` differ, and a threshold trial judge another turn.
TEST_F(HistoryTest, every_row_comes_back_as_it_was) {
  const auto history = open();
  const auto read = reader();
  for (int number = 0; number < 30; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  for (int number = 0; number < 30; ++number) {
    EXPECT_THAT(rows_of(read->half_cycles_after(number, 1)), ElementsAre(half_cycle_row(number)));
    EXPECT_THAT(rows_of(read->warnings_after(number, 1)), ElementsAre(warning_change(number)));
    EXPECT_THAT(rows_of(read->reservoir_days_after(number, 1)), ElementsAre(reservoir_day(number)));
    EXPECT_THAT(rows_of(read->forecast_days_after(number, 1)), ElementsAre(forecast_day(number)));
    EXPECT_THAT(rows_of(read->faults_after(number, 1)), ElementsAre(fault_row(number)));
    EXPECT_THAT(rows_of(read->outgoing_after(number, 1)), ElementsAre(outgoing_row(number)));
  }
  EXPECT_THAT(ids_of(read->half_cycles_after(27, 100)), ElementsAre(28, 29, 30));
  EXPECT_THAT(ids_of(read->half_cycles_after(30, 100)), IsEmpty());
}

// The row with nothing known must not come back as zeros.
TEST_F(HistoryTest, unknown_stays_unknown) {
  const auto history = open();
  Batch batch;
  batch.half_cycles = {{station_id(1), HalfCycle{}}};
  batch.warnings.resize(1);
  batch.warnings[0].station = station_id(1);
  batch.reservoir_days.resize(1);
  batch.reservoir_days[0].station = station_id(1);
  ASSERT_TRUE(history->commit(batch).has_value());
  const auto read = reader();
  EXPECT_EQ(rows_of(read->half_cycles_after(0, 9)), batch.half_cycles);
  EXPECT_EQ(rows_of(read->warnings_after(0, 9)), batch.warnings);
  EXPECT_EQ(rows_of(read->reservoir_days_after(0, 9)), batch.reservoir_days);
}

struct FieldCounter {
  std::size_t fields = 0;
  template <typename... Fields>
  void operator()(Fields&...) {
    fields += sizeof...(Fields);
  }
};
template <typename Record>
std::size_t fields_of() {
  FieldCounter counter;
  Record record;
  serialize(counter, record);
  return counter.fields;
}

// A field that a record gained and the tables did not would be lost at the first restart: it needs a column, a line in
// examples.h and a schema step.
TEST(HistoryTables, have_a_column_for_every_field) {
  EXPECT_EQ(fields_of<HalfCycle>(), 22U);
  EXPECT_EQ(fields_of<RiseShape>(), 7U);
  EXPECT_EQ(fields_of<ControllerSettings>(), 5U);
  EXPECT_EQ(fields_of<Forecast>(), 3U);
  EXPECT_EQ(fields_of<FigureShift>(), 7U);
  EXPECT_EQ(fields_of<WeightedCause>(), 2U);
  EXPECT_EQ(fields_of<EvidenceItem>(), 5U);
  EXPECT_EQ(fields_of<TurnUsual>(), 4U);
  EXPECT_EQ(fields_of<UsualFigure>(), 2U);
}

// A restart begins with what is loaded here.
TEST_F(HistoryTest, states_and_positions_come_back_after_a_restart) {
  {
    const auto history = open();
    for (int number = 0; number < 8; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
    Batch lagging;
    lagging.station_states = {{station_id(3), 77, "newer"}};
    lagging.resume_from = 5;
    lagging.taken_to = 90;
    ASSERT_TRUE(history->commit(lagging).has_value());
  }
  const auto history = open();
  const auto states = reader()->states();
  ASSERT_TRUE(states.has_value());
  EXPECT_EQ(states->resume_from, 5U);
  EXPECT_EQ(states->taken_to, 90U);
  ASSERT_EQ(states->stations.size(), 8U);
  EXPECT_EQ(states->stations[1], (StationStateRow{station_id(3), 77, "newer"}));
  ASSERT_EQ(states->sites.size(), 3U);
  EXPECT_EQ(states->sites[1], (SiteStateRow{"site-1", 8, std::string{"\0\1\2", 3}}));
}

// What is open decides what a person is shown after a restart.
TEST_F(HistoryTest, open_warnings_are_those_raised_and_not_cleared) {
  const auto history = open();
  const auto read = reader();
  Batch raised;
  raised.warnings = {warning_change(1), warning_change(2), warning_change(3)};
  ASSERT_TRUE(history->commit(raised).has_value());
  Batch later;
  WarningChange more = warning_change(1, Change::urgency_changed);
  more.urgency = Urgency::act;
  later.warnings = {more, warning_change(2, Change::cleared)};
  ASSERT_TRUE(history->commit(later).has_value());
  EXPECT_THAT(rows_of(read->open_warnings()), ElementsAre(warning_change(3), more));
}

// Questions about one station must not show another's rows.
TEST_F(HistoryTest, a_stations_rows_are_found_by_time_and_line) {
  const auto history = open();
  const auto read = reader();
  Batch batch;
  for (int number = 0; number < 20; ++number) {
    HalfCycleRow row = half_cycle_row(number);
    row.station = station_id(number % 2);
    row.half_cycle.line = 1 + number / 2 % 2;
    batch.half_cycles.push_back(row);
  }
  ASSERT_TRUE(history->commit(batch).has_value());
  EXPECT_THAT(ids_of(read->latest_half_cycles(station_id(0), std::nullopt, 3)), ElementsAre(19, 17, 15));
  EXPECT_THAT(ids_of(read->latest_half_cycles(station_id(0), 2, 2)), ElementsAre(19, 15));
  const Span span{half_cycle_row(4).half_cycle.pump_start, half_cycle_row(8).half_cycle.pump_start};
  EXPECT_THAT(ids_of(read->half_cycles_between(station_id(0), span, 99)), ElementsAre(5, 7));
  EXPECT_THAT(ids_of(read->latest_half_cycles({"no", "such"}, std::nullopt, 3)), IsEmpty());
}

// A cursor that goes back sends twice; one that starts wrong sends old news or misses some.
TEST_F(HistoryTest, cursors_only_go_forward_and_start_where_they_are_told) {
  {
    const auto history = open();
    for (int number = 0; number < 4; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  }
  const HistorySettings settings{
      .cursors = {{.name = "metrics", .feeds = {Feed::half_cycles, Feed::faults}},
                  {.name = "mqtt", .feeds = {Feed::warnings}, .from_beginning = false}}};
  {
    const auto history = open(settings);
    const auto read = reader();
    EXPECT_THAT(*read->cursor("metrics"), ElementsAre(CursorMark{Feed::half_cycles, 0}, CursorMark{Feed::faults, 0}));
    EXPECT_THAT(*read->cursor("mqtt"), ElementsAre(CursorMark{Feed::warnings, 4}));
    const CursorMark forward{Feed::half_cycles, 3};
    const CursorMark back{Feed::half_cycles, 1};
    const RefusedRow refused{"metrics", Feed::half_cycles, 2, time_from_ms(5), 400, "half_cycle ...", "unable to parse"};
    ASSERT_TRUE(history->advance("metrics", {&forward, 1}, {&refused, 1}).has_value());
    ASSERT_TRUE(history->advance("metrics", {&back, 1}).has_value());
    EXPECT_THAT(rows_of(read->refused_after(0, 9)), ElementsAre(refused));
  }
  const auto history = open(settings);
  EXPECT_THAT(*reader()->cursor("metrics"), ElementsAre(CursorMark{Feed::half_cycles, 3}, CursorMark{Feed::faults, 0}));
}

// Retention may take what is old and dealt with, and nothing else; an id that comes again would be taken for sent.
TEST_F(HistoryTest, retention_spares_the_unsent_the_open_and_the_newest) {
  const HistorySettings settings{.cursors = {{.name = "metrics", .feeds = {Feed::half_cycles, Feed::warnings}}}};
  const auto history = open(settings);
  const auto read = reader();
  for (int number = 0; number < 10; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  Batch cleared;
  cleared.warnings = {warning_change(2, Change::cleared)};
  ASSERT_TRUE(history->commit(cleared).has_value());
  const Time years_later = time_from_ms(1'772'344'800'000 + 10LL * 365 * 86'400'000);
  ASSERT_TRUE(history->tend(years_later).has_value());
  EXPECT_EQ(ids_of(read->half_cycles_after(0, 99)).size(), 10U) << "the cursor has not passed them";
  EXPECT_THAT(ids_of(read->faults_after(0, 99)), ElementsAre(10)) << "nobody follows faults";
  const CursorMark marks[]{{Feed::half_cycles, 6}, {Feed::warnings, 11}};
  ASSERT_TRUE(history->advance("metrics", marks).has_value());
  ASSERT_TRUE(history->tend(years_later).has_value());
  EXPECT_THAT(ids_of(read->half_cycles_after(0, 99)), ElementsAre(7, 8, 9, 10));
  EXPECT_THAT(ids_of(read->warnings_after(0, 99)), ElementsAre(1, 2, 4, 5, 6, 7, 8, 9, 10, 11)) << "all but 3 are open";
  EXPECT_EQ(read->states()->stations.size(), 10U);
  ASSERT_TRUE(history->commit(batch_of(11)).has_value());
  EXPECT_THAT(ids_of(read->faults_after(0, 99)), ElementsAre(10, 11));
}

// The journal deletes what is below this: too high, and a power cut loses messages for good.
TEST_F(HistoryTest, the_journal_is_needed_until_a_checkpoint_is_on_the_disk) {
  const auto history = open();
  const auto read = reader();
  ASSERT_TRUE(history->commit(batch_of(41)).has_value());
  EXPECT_EQ(history->needed_from(), 0U);
  ASSERT_TRUE(history->tend(time_from_ms(0)).has_value());
  EXPECT_EQ(history->needed_from(), 42U);
  ASSERT_TRUE(history->commit(batch_of(50)).has_value());
  EXPECT_EQ(history->needed_from(), 42U);
}

// Opened by an older program, a newer file could be ruined.
TEST_F(HistoryTest, a_newer_schema_is_refused_and_left_as_it_is) {
  { open(); }
  const auto bytes = [&] {
    std::ifstream stream(file_, std::ios::binary);
    return std::string{std::istreambuf_iterator<char>(stream), {}};
  };
  {
    // user_version is the big-endian number at byte 60 of the file (sqlite.org/fileformat2.html, 1.3).
    std::fstream stream(file_, std::ios::in | std::ios::out | std::ios::binary);
    stream.seekp(60);
    stream.write("\0\0\0\x63", 4);
  }
  const std::string before = bytes();
  const auto opened = History::open({.file = file_});
  ASSERT_FALSE(opened.has_value());
  EXPECT_THAT(opened.error(), HasSubstr("schema version 99, this program knows up to " + std::to_string(schema_version)));
  EXPECT_FALSE(Reader::open(file_).has_value());
  EXPECT_EQ(bytes(), before);
}

// A wrong path in the configuration must not turn somebody's file into ours.
TEST_F(HistoryTest, a_file_of_another_kind_is_refused_and_left_as_it_is) {
  std::filesystem::create_directories(folder_.path() + "/deep");
  { std::ofstream(file_) << std::string(10'000, 'x'); }
  const auto opened = History::open({.file = file_});
  ASSERT_FALSE(opened.has_value());
  EXPECT_THAT(opened.error(), HasSubstr("not a database"));
  EXPECT_EQ(std::filesystem::file_size(file_), 10'000U);
}

// Two writers on one file are the one thing that the store's own defects do not forgive.
TEST_F(HistoryTest, a_second_writer_is_refused) {
  const auto history = open();
  const auto second = History::open({.file = file_});
  ASSERT_FALSE(second.has_value());
  EXPECT_THAT(second.error(), HasSubstr("in use by another process"));
}

}  // namespace
}  // namespace driftline::history
