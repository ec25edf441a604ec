#include "gateway/journal/journal.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

#include "gateway/journal/reader.h"
#include "tests/unit/journal/folder.h"

namespace driftline::journal {
namespace {

using std::chrono::milliseconds;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

std::unique_ptr<Journal> open_journal(const Folder& folder, JournalSettings settings = {}) {
  settings.directory = folder.path();
  auto opened = Journal::open(settings);
  EXPECT_TRUE(opened.has_value()) << opened.error();
  return std::move(*opened);
}

std::vector<Position> positions(Reader& reader, std::size_t records_max = 10'000) {
  std::vector<Position> all;
  for (const RecordView& record : reader.read({.records_max = records_max}, milliseconds{0}))
    all.push_back(record.position);
  return all;
}

std::vector<Position> all_positions(Journal& journal, Position from = 0) {
  Reader reader(journal, from);
  std::vector<Position> all;
  for (;;) {
    const auto some = positions(reader);
    if (some.empty()) return all;
    all.insert(all.end(), some.begin(), some.end());
  }
}

std::vector<Position> counted(Position first, Position last) {
  std::vector<Position> all;
  for (Position at = first; at <= last; ++at) all.push_back(at);
  return all;
}

void append_some(Journal& journal, int records, std::size_t payload = 100) {
  for (int i = 0; i < records; ++i)
    ASSERT_TRUE(journal.append(time_from_ms(1'000 + i), "grease/a/b/telemetry", std::string(payload, 'x')).has_value());
}

std::string newest_file(const Folder& folder) {
  std::string newest;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
    if (entry.path().extension() == ".journal") newest = std::max(newest, entry.path().string());
  return newest;
}

void overwrite(const std::string& file, std::uint64_t at, const std::string& bytes) {
  std::fstream stream(file, std::ios::in | std::ios::out | std::ios::binary);
  stream.seekp(static_cast<std::streamoff>(at));
  stream << bytes;
  ASSERT_TRUE(stream.good());
}

// If what comes out is not what went in, every judgement is of something that never happened.
TEST(Journal, gives_back_topic_payload_and_stamp) {
  const Folder folder;
  const auto journal = open_journal(folder);
  const std::string odd{"\0\xD7rec\xFF", 6};
  ASSERT_EQ(journal->append(time_from_ms(5), "grease/a/b/telemetry", odd)->position, 1U);
  ASSERT_EQ(journal->append(time_from_ms(6), "", "")->position, 2U);
  Reader reader(*journal, 0);
  const auto records = reader.read({}, milliseconds{0});
  ASSERT_EQ(records.size(), 2U);
  EXPECT_EQ(records[0].topic, "grease/a/b/telemetry");
  EXPECT_EQ(records[0].payload, odd);
  EXPECT_EQ(records[0].received, time_from_ms(5));
  EXPECT_EQ(records[1].position, 2U);
  EXPECT_THAT(positions(reader), IsEmpty());
}

// A stamp that goes back would make the judgement wake stations in the past.
TEST(Journal, received_never_goes_back_not_even_over_a_restart) {
  const Folder folder;
  {
    const auto journal = open_journal(folder);
    ASSERT_EQ(journal->append(time_from_ms(9'000), "t", "p")->received, time_from_ms(9'000));
    ASSERT_EQ(journal->append(time_from_ms(3'000), "t", "p")->received, time_from_ms(9'000));
  }
  const auto journal = open_journal(folder);
  EXPECT_EQ(journal->append(time_from_ms(4'000), "t", "p")->received, time_from_ms(9'000));
}

// A position used twice makes the history skip a message it has never seen.
TEST(Journal, positions_rise_over_restarts_and_leap_when_told_to) {
  const Folder folder;
  { append_some(*open_journal(folder), 3); }
  { append_some(*open_journal(folder), 2); }
  { open_journal(folder); }
  {
    const auto journal = open_journal(folder, {.not_below = 100});
    EXPECT_EQ(journal->status().next, 100U);
    append_some(*journal, 1);
  }
  const auto journal = open_journal(folder, {.not_below = 7});
  append_some(*journal, 1);
  Reader reader(*journal, 0);
  std::vector<Position> all;
  for (auto some = positions(reader, 1); !some.empty(); some = positions(reader, 1)) all.push_back(some.front());
  EXPECT_THAT(all, ElementsAre(1, 2, 3, 4, 5, 100, 101));
  EXPECT_EQ(reader.lost_records(), 0U);
}

// A reader that misses or repeats records at the seams of segments loses or doubles a turn.
TEST(Journal, is_read_over_segment_seams_from_any_position_in_any_portion) {
  const Folder folder;
  const auto journal = open_journal(folder, {.segment_bytes = 4096});
  append_some(*journal, 200);
  ASSERT_GT(journal->status().segments, 5U);
  for (Position from = 0; from <= 201; from += 7)
    EXPECT_EQ(all_positions(*journal, from), counted(std::max<Position>(from, 1), 200)) << from;
  for (std::size_t portion : {1U, 2U, 13U, 64U}) {
    Reader reader(*journal, 1);
    std::vector<Position> all;
    for (auto some = positions(reader, portion); !some.empty(); some = positions(reader, portion)) {
      EXPECT_LE(some.size(), portion);
      all.insert(all.end(), some.begin(), some.end());
    }
    EXPECT_EQ(all, counted(1, 200)) << portion;
  }
}

// A reader that does not see new records is a gateway that stands still.
TEST(Journal, a_reader_waits_for_the_next_record) {
  const Folder folder;
  const auto journal = open_journal(folder);
  std::thread writer;
  Reader reader(*journal, 1);
  writer = std::thread([&] { append_some(*journal, 500); });
  Position expected = 1;
  while (expected <= 500)
    for (const RecordView& record : reader.read({}, milliseconds{10'000})) EXPECT_EQ(record.position, expected++);
  writer.join();
  EXPECT_THAT(reader.read({}, milliseconds{1}), IsEmpty());
}

// A torn end is what a killed writer leaves; taking it for damage would cry wolf at each crash.
TEST(Journal, a_torn_end_is_cut_at_every_length) {
  for (std::size_t cut = 1; cut < record_bytes(20, 100); cut += 9) {
    const Folder folder;
    { append_some(*open_journal(folder), 3); }
    const std::string file = newest_file(folder);
    std::filesystem::resize_file(file, std::filesystem::file_size(file) - cut);
    const auto journal = open_journal(folder);
    EXPECT_EQ(journal->status().torn_bytes, record_bytes(20, 100) - cut) << cut;
    EXPECT_EQ(journal->append(time_from_ms(2'000), "t", "p")->position, 3U);
    Reader reader(*journal, 0);
    EXPECT_THAT(positions(reader), ElementsAre(1, 2));
    EXPECT_THAT(positions(reader), ElementsAre(3));
    EXPECT_EQ(reader.damaged_bytes(), 0U);
  }
}

// After a power cut the end of a file may be zeros.
TEST(Journal, an_end_of_zeros_is_cut) {
  const Folder folder;
  { append_some(*open_journal(folder), 3); }
  const std::string file = newest_file(folder);
  std::filesystem::resize_file(file, std::filesystem::file_size(file) + 70'000);
  const auto journal = open_journal(folder);
  EXPECT_EQ(journal->status().torn_bytes, 70'000U);
  EXPECT_EQ(all_positions(*journal), counted(1, 3));
}

// Damage that stops the reader stops the gateway; damage that is not told is a silent loss.
TEST(Journal, damage_in_the_middle_is_skipped_and_counted_wherever_it_is) {
  const std::size_t record = record_bytes(20, 100);
  for (std::size_t at = 0; at < record; at += 3) {
    const Folder folder;
    { append_some(*open_journal(folder), 9); }
    overwrite(newest_file(folder), segment_head_bytes + 4 * record + at, "\xAA\x55");
    const auto journal = open_journal(folder);
    EXPECT_EQ(journal->status().torn_bytes, 0U);
    Reader reader(*journal, 0);
    const bool two = at == record - 1;
    std::vector<Position> left{1, 2, 3, 4, 6, 7, 8, 9};
    if (two) left.erase(left.begin() + 4);
    EXPECT_EQ(positions(reader), left) << at;
    EXPECT_EQ(reader.lost_records(), two ? 2U : 1U) << at;
    EXPECT_EQ(reader.damaged_bytes(), two ? 2 * record : record) << at;
  }
}

// A damaged head must not cost the records behind it.
TEST(Journal, a_damaged_head_costs_no_record) {
  const Folder folder;
  { append_some(*open_journal(folder), 3); }
  overwrite(newest_file(folder), 10, "\xAA\x55");
  const auto journal = open_journal(folder);
  EXPECT_EQ(journal->append(time_from_ms(2'000), "t", "p")->position, 4U);
  EXPECT_EQ(all_positions(*journal), counted(1, 4));
}

// A segment that somebody deleted must be told and passed over.
TEST(Journal, a_missing_segment_is_counted_as_lost) {
  const Folder folder;
  { append_some(*open_journal(folder, {.segment_bytes = 4096}), 60); }
  const auto journal = open_journal(folder, {.segment_bytes = 4096});
  const std::string second = [&] {
    std::vector<std::string> files;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
      if (entry.path().extension() == ".journal") files.push_back(entry.path().string());
    std::sort(files.begin(), files.end());
    return files.at(1);
  }();
  std::filesystem::remove(second);
  Reader reader(*journal, 0);
  std::vector<Position> all;
  for (auto some = positions(reader); !some.empty(); some = positions(reader)) all.insert(all.end(), some.begin(), some.end());
  EXPECT_EQ(all.size() + reader.lost_records(), 60U);
  EXPECT_GT(reader.lost_records(), 0U);
}

// Retention that deletes what is still needed loses it for good.
TEST(Journal, retention_keeps_what_is_needed_and_what_is_young) {
  const Folder folder;
  const JournalSettings settings{.segment_bytes = 4096, .keep_bytes = 0, .keep_for = std::chrono::hours{1}};
  const auto journal = open_journal(folder, settings);
  append_some(*journal, 200);
  ASSERT_TRUE(journal->sync());
  journal->retain(0, time_from_ms(1'000'000'000));
  EXPECT_EQ(journal->status().first, 1U);
  journal->retain(100, time_from_ms(2'000));
  const JournalStatus status = journal->status();
  EXPECT_GT(status.first, 1U);
  EXPECT_LE(status.first, 100U);
  EXPECT_EQ(all_positions(*journal, 100), counted(100, 200));
  journal->retain(201, time_from_ms(2'000));
  EXPECT_EQ(journal->append(time_from_ms(3'000), "t", "p")->position, 201U);
}

// Without a bound the journal would fill the disk that the history needs.
TEST(Journal, refuses_when_its_bound_is_held_and_takes_again_after_retention) {
  const Folder folder;
  const auto journal = open_journal(folder, {.segment_bytes = 4096, .bytes_max = 20'000, .keep_bytes = 0});
  int taken = 0;
  while (journal->append(time_from_ms(1'000), "t", std::string(100, 'x'))) ++taken;
  EXPECT_EQ(journal->append(time_from_ms(1'000), "t", "x" + std::string(100, 'x')).error(), AppendFailure::journal_full);
  EXPECT_GT(taken, 100);
  ASSERT_TRUE(journal->sync());
  journal->retain(journal->status().next, time_from_ms(1'000));
  EXPECT_TRUE(journal->append(time_from_ms(1'000), "t", std::string(100, 'x')).has_value());
}

// Two gateways on one journal would interleave their positions.
TEST(Journal, lets_no_second_one_in) {
  const Folder folder;
  const auto journal = open_journal(folder);
  const auto second = Journal::open({.directory = folder.path()});
  ASSERT_FALSE(second.has_value());
  EXPECT_THAT(second.error(), ::testing::HasSubstr("in use by another process"));
}

// A payload beyond the bound would make a reader ask for memory on the word of a damaged byte.
TEST(Journal, refuses_what_is_too_large_for_good) {
  const Folder folder;
  const auto journal = open_journal(folder);
  const auto refused = journal->append(time_from_ms(1), "t", std::string(payload_bytes_max + 1, 'x'));
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error(), AppendFailure::too_large);
  EXPECT_FALSE(worth_retrying(refused.error()));
  EXPECT_EQ(journal->append(time_from_ms(1), "t", std::string(payload_bytes_max, 'x'))->position, 1U);
  EXPECT_EQ(all_positions(*journal), counted(1, 1));
}

}  // namespace
}  // namespace driftline::journal
