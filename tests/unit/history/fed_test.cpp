#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "gateway/history/fed_pack.h"
#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "rules/records/serialize.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/journal/folder.h"

namespace driftline::history {
namespace {

using journal::Folder;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr Span ever{time_from_ms(0), time_from_ms(4'000'000'000'000)};

struct Played {
  std::vector<FedEvent> events;
  std::vector<HalfCycle> turns;
  bool whole = false;
};

Played played(const FedTape& tape) {
  Played all;
  all.whole = tape.play([&](const FedEvent& event, const HalfCycle* turn) {
    all.events.push_back(event);
    if (turn != nullptr) all.turns.push_back(*turn);
  });
  return all;
}

class Fed : public ::testing::Test {
 protected:
  std::unique_ptr<History> open(HistorySettings settings = {}) {
    settings.file = file_;
    auto opened = History::open(settings);
    EXPECT_TRUE(opened.has_value()) << opened.error();
    return std::move(*opened);
  }
  Played tape(const StationId& station, Span span = ever, bool with_curves = true) {
    auto reader = *Reader::open(file_);
    const auto answer = reader->fed_tape(station, span, with_curves);
    EXPECT_TRUE(answer.has_value()) << answer.error().text;
    return played(*answer);
  }

  const Folder folder_;
  const std::string file_ = folder_.path() + "/history.db";
};

std::vector<FedEvent> fed_events(int from, int to, int station) {
  std::vector<FedEvent> events;
  for (int number = from; number < to; ++number)
    for (FedRow& row : fed_rows(number))
      if (row.station == station_id(station)) events.push_back(std::move(row.event));
  return events;
}

// A trial over events that came back changed, doubled or out of order would tell of other warnings than were raised.
TEST_F(Fed, what_the_rules_were_fed_comes_back_as_it_was_with_its_turns) {
  {
    const auto history = open();
    for (int number = 0; number < 6; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  }
  for (int number = 0; number < 6; ++number) {
    const Played back = tape(station_id(number));
    EXPECT_EQ(back.events, fed_events(0, 6, number));
    EXPECT_THAT(back.turns, ElementsAre(half_cycle_row(number).half_cycle));
    EXPECT_TRUE(back.whole);
  }
  EXPECT_THAT((*Reader::open(file_))->fed_stations().value(), SizeIs(6));
  EXPECT_THAT(tape({"no", "such"}).events, IsEmpty());
}

// Chunks that close, a restart between them and a span that cuts must neither lose nor double an event.
TEST_F(Fed, a_long_stretch_of_one_station_comes_back_over_closed_chunks_and_restarts) {
  std::vector<FedEvent> expected;
  std::vector<HalfCycle> turns;
  for (int round = 0; round < 3; ++round) {
    const auto history = open();
    for (int number = 200 * round; number < 200 * (round + 1); ++number) {
      Batch batch = batch_of(number);
      batch.half_cycles[0].station = station_id(1);
      for (FedRow& row : batch.fed) {
        row.station = station_id(1);
        expected.push_back(row.event);
      }
      turns.push_back(batch.half_cycles[0].half_cycle);
      ASSERT_TRUE(history->commit(batch).has_value());
    }
  }
  const Played back = tape(station_id(1));
  EXPECT_TRUE(back.whole);
  EXPECT_EQ(back.events, expected);
  EXPECT_EQ(back.turns, turns);
  const Span early{time_from_ms(0), fed_rows(100)[0].event.received};
  const Played half = tape(station_id(1), early);
  EXPECT_GE(half.events.size(), 800U);
  EXPECT_LT(half.events.size(), 1200U) << "chunks are given whole, but not all of them";
  // From any moment on all that was fed from then on is there: who follows a tape must not miss any.
  for (int number = 1; number < 600; number += 37) {
    const Time from = fed_rows(number)[0].event.received;
    const Played rest = tape(station_id(1), {from, ever.to});
    const auto since = [&](const FedEvent& event) { return event.received >= from; };
    std::vector<FedEvent> told, wanted;
    std::copy_if(rest.events.begin(), rest.events.end(), std::back_inserter(told), since);
    std::copy_if(expected.begin(), expected.end(), std::back_inserter(wanted), since);
    EXPECT_EQ(told, wanted) << number;
    EXPECT_LT(rest.events.size(), wanted.size() + 1000U) << "chunks long before are left out";
  }
  for (HalfCycle& turn : turns) turn.shape.curve.clear();
  EXPECT_EQ(tape(station_id(1), ever, false).turns, turns);
}

// What people noted is shown on the page and counted against by a trial.
TEST_F(Fed, service_notes_have_rows_of_their_own) {
  const auto history = open();
  for (int number = 0; number < 4; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  const auto reader = *Reader::open(file_);
  for (const int number : {2, 3}) {  // without and with a name
    const FedRow expected = fed_rows(number)[3];
    const auto of_station = reader->service_notes_between(station_id(number), ever, 9);
    ASSERT_TRUE(of_station.has_value()) << of_station.error().text;
    ASSERT_THAT(*of_station, SizeIs(1));
    EXPECT_EQ(of_station->front().row,
              (ServiceNoteRow{station_id(number), expected.event.received, std::get<ServiceNote>(expected.event.body)}));
  }
  const FedRow expected = fed_rows(2)[3];
  EXPECT_THAT(reader->service_notes_after(1, 9).value(), SizeIs(3));
  EXPECT_THAT(reader->service_notes_between(station_id(2), {ever.from, std::get<ServiceNote>(expected.event.body).time}, 9).value(),
              IsEmpty());
}

// What the rules were fed grows by the minute: it must go when its half-cycles go.
TEST_F(Fed, retention_takes_old_chunks_and_notes) {
  const auto history = open();
  for (int number = 0; number < 5; ++number) ASSERT_TRUE(history->commit(batch_of(number)).has_value());
  ASSERT_TRUE(history->tend(time_from_ms(1'772'344'800'000 + 10LL * 365 * 86'400'000)).has_value());
  const auto reader = *Reader::open(file_);
  const auto left = reader->fed_stations();
  ASSERT_THAT(left.value(), SizeIs(1));
  EXPECT_EQ(left->front().id, station_id(4));
  EXPECT_EQ(left->front().last, fed_rows(4).back().event.received);
  EXPECT_THAT(reader->service_notes_after(0, 9).value(), SizeIs(1));
  // The row of a chunk that is still open has gone: what comes next must not go with it.
  ASSERT_TRUE(history->commit(batch_of(4)).has_value());
  ASSERT_TRUE(history->commit(batch_of(0)).has_value());
  EXPECT_FALSE(tape(station_id(0)).events.empty());
}

// The log says who changed thresholds, when and why; a gateway that starts again must not say it twice.
TEST_F(Fed, what_was_done_with_thresholds_is_kept_once) {
  const auto history = open();
  const RolloutRow rows[]{rollout_row(0), rollout_row(1)};
  ASSERT_TRUE(history->note_rollouts(rows).has_value());
  ASSERT_TRUE(history->note_rollouts(rows).has_value());
  const auto back = (*Reader::open(file_))->rollouts(9);
  ASSERT_THAT(back.value(), SizeIs(2));
  EXPECT_EQ(back->front().row, rollout_row(1));
  EXPECT_EQ(back->back().row, rollout_row(0));
}

// Damaged bytes must end in an answer, not in a crash or a station's year of memory.
TEST(FedPack, damaged_bytes_are_read_up_to_the_damage_and_told) {
  FedPacker packer;
  for (int number = 0; number < 3; ++number)
    for (const FedRow& row : fed_rows(number)) packer.put(row.event, number + 1);
  const std::string whole = packer.bytes();
  StoredFedEvent event;
  for (std::size_t at = 0; at < whole.size(); ++at) {
    for (const char put : {'\0', '\x7F', '\xFF'}) {
      std::string bytes = whole;
      bytes[at] = put;
      FedUnpacker unpacker(bytes);
      int count = 0;
      while (unpacker.next(event)) ++count;
      EXPECT_LE(count, 2000);
    }
    FedUnpacker cut(std::string_view(whole).substr(0, at));
    while (cut.next(event)) {
    }
  }
  EXPECT_EQ(inflated(deflated(whole)), whole);
  EXPECT_FALSE(inflated("\xFF\xFF\xFF\xFF\x7F").has_value());
  EXPECT_FALSE(inflated("\x05nonsense").has_value());
}

// A heartbeat a minute is most of what is kept: its size decides how much disk a year takes.
TEST(FedPack, a_heartbeat_a_minute_takes_few_bytes) {
  FedPacker packer;
  for (int minute = 0; minute < 1000; ++minute) {
    const Time at = time_from_ms(1'772'344'900'000 + minute * 60'000LL + minute * 7919 % 400);
    packer.put({at, static_cast<std::uint64_t>(1 + minute * 12'000), Heartbeat{at, at - std::chrono::milliseconds{300 + minute * 31 % 50}}}, 0);
  }
  EXPECT_LE(packer.bytes().size(), 10'000U);
  EXPECT_LE(deflated(packer.bytes()).size(), 6'000U);
}

struct FieldCounter {
  std::size_t fields = 0;
  template <typename... Fields>
  void operator()(Fields&...) {
    fields += sizeof...(Fields);
  }
};

// A field that the settings gained and the bytes did not would be lost to every trial.
TEST(FedPack, has_a_place_for_every_setting) {
  FieldCounter counter;
  ControllerSettings settings;
  serialize(counter, settings);
  EXPECT_EQ(counter.fields, 5U);
}

}  // namespace
}  // namespace driftline::history
