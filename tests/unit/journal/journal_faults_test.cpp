#include <gtest/gtest.h>

#include <fstream>
#include <random>

#include "gateway/journal/journal.h"
#include "gateway/journal/reader.h"
#include "tests/unit/journal/failing_files.h"
#include "tests/unit/journal/folder.h"

namespace driftline::journal {
namespace {

using std::chrono::milliseconds;

struct Kept {
  Position position = 0;
  std::string payload;
  bool operator==(const Kept&) const = default;
  friend std::ostream& operator<<(std::ostream& out, const Kept& kept) {
    return out << kept.position << ":" << kept.payload.substr(0, kept.payload.find('.'));
  }
};

JournalSettings small_segments(const std::string& folder, milliseconds sync_every) {
  return {.directory = folder, .sync_every = sync_every, .segment_bytes = 4096};
}

constexpr milliseconds never{1'000'000'000};  // the test syncs by itself

std::vector<Kept> read_all(const std::string& folder, std::uint64_t& lost) {
  QuickFiles files;
  auto journal = Journal::open(small_segments(folder, never), files);
  EXPECT_TRUE(journal.has_value()) << journal.error();
  Reader reader(**journal, 0);
  std::vector<Kept> all;
  for (;;) {
    const auto some = reader.read({}, milliseconds{0});
    if (some.empty()) break;
    for (const RecordView& record : some) all.push_back({record.position, std::string(record.payload)});
  }
  lost = reader.lost_records();
  return all;
}

std::string payload_of(int number) { return "message " + std::to_string(number) + std::string(200 + number % 90, '.'); }

// Appends 60 messages, trying each until it is taken, with a sync after every 7th.
std::vector<Kept> append_stubbornly(Journal& journal) {
  std::vector<Kept> taken;
  for (int number = 0; number < 60; ++number) {
    for (int attempt = 0; attempt < 20; ++attempt) {
      const auto appended = journal.append(time_from_ms(number), "t", payload_of(number));
      if (appended) {
        taken.push_back({appended->position, payload_of(number)});
        break;
      }
      journal.sync();  // what the sync thread does in time
    }
    if (number % 7 == 0) journal.sync();
  }
  return taken;
}

class JournalFaults : public ::testing::TestWithParam<std::tuple<milliseconds, int, int>> {};

// A disk that is full or fails at any one call must cost nothing that was acknowledged, and double nothing.
TEST_P(JournalFaults, whatever_call_fails_all_that_was_taken_is_there_once) {
  const auto [sync_every, count, reason] = GetParam();
  FailingFiles files;
  for (int first = 1;; ++first) {
    const Folder folder;
    files.calls = 0;
    files.first = first;
    files.count = count;
    files.reason = reason;
    std::vector<Kept> taken;
    {
      auto journal = Journal::open(small_segments(folder.path(), sync_every), files);
      if (journal) {
        taken = append_stubbornly(**journal);
        EXPECT_EQ(taken.size(), 60U) << first;
        int attempts = 0;
        while (!(*journal)->sync()) ASSERT_LT(++attempts, 20) << "call " << first << " failed, and no way back";
        Reader reader(**journal, 0);
        std::vector<Kept> live;
        for (auto some = reader.read({}, milliseconds{0}); !some.empty(); some = reader.read({}, milliseconds{0}))
          for (const RecordView& record : some) live.push_back({record.position, std::string(record.payload)});
        EXPECT_EQ(live, taken) << "call " << first << " failed, read while open";
        EXPECT_EQ(reader.lost_records(), 0U);
      }
    }
    if (!taken.empty()) {
      std::uint64_t lost = 0;
      EXPECT_EQ(read_all(folder.path(), lost), taken) << "call " << first << " failed";
      EXPECT_EQ(lost, 0U) << first;
    }
    if (files.calls < first) {
      EXPECT_GT(first, 60) << "the loop has not failed every call";
      return;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(All, JournalFaults,
                         ::testing::Combine(::testing::Values(never, milliseconds{0}), ::testing::Values(1, 3),
                                            ::testing::Values(ENOSPC, EIO)));

// Half a record on the disk must not be taken for a whole one, nor for the end.
TEST(JournalFaultsOf, short_writes_make_whole_records) {
  const Folder folder;
  ShortWrites files;
  std::vector<Kept> taken;
  { taken = append_stubbornly(**Journal::open(small_segments(folder.path(), never), files)); }
  std::uint64_t lost = 0;
  EXPECT_EQ(read_all(folder.path(), lost), taken);
  EXPECT_EQ(lost, 0U);
}

// A disk that cannot read a page any more must cost that page's messages, not the gateway.
TEST(JournalFaultsOf, a_page_that_cannot_be_read_costs_its_records_only) {
  const Folder folder;
  BadPage files;
  JournalSettings settings = small_segments(folder.path(), never);
  settings.segment_bytes = 1 << 20;
  auto journal = Journal::open(settings, files);
  ASSERT_TRUE(journal.has_value());
  for (int i = 0; i < 200; ++i) ASSERT_TRUE((*journal)->append(time_from_ms(i), "t", payload_of(i)).has_value());
  files.page = 3;
  Reader reader(**journal, 0);
  std::vector<Position> all;
  for (auto some = reader.read({}, milliseconds{0}); !some.empty(); some = reader.read({}, milliseconds{0}))
    for (const RecordView& record : some) {
      all.push_back(record.position);
      EXPECT_EQ(record.payload, payload_of(static_cast<int>(record.position) - 1));
    }
  EXPECT_EQ(all.size() + reader.lost_records(), 200U);
  EXPECT_GE(reader.lost_records(), 4096U / record_bytes(1, 310));
  EXPECT_LE(reader.lost_records(), 4096U / record_bytes(1, 200) + 2);
  EXPECT_EQ(all.back(), 200U);
}

// After a failed sync nobody knows what is on the disk: going on would promise what may not be there.
TEST(JournalFaultsOf, a_failed_sync_stops_appends_until_all_is_in_a_new_file) {
  const Folder folder;
  FailingFiles files;
  auto journal = Journal::open(small_segments(folder.path(), never), files);
  ASSERT_TRUE(journal.has_value());
  Reader reader(**journal, 0);
  for (int i = 0; i < 4; ++i) ASSERT_TRUE((*journal)->append(time_from_ms(i), "t", payload_of(i)).has_value());
  ASSERT_TRUE((*journal)->sync());
  for (int i = 4; i < 8; ++i) ASSERT_TRUE((*journal)->append(time_from_ms(i), "t", payload_of(i)).has_value());
  EXPECT_EQ(reader.read({.records_max = 6}, milliseconds{0}).size(), 6U);
  files.calls = 0;
  files.first = 1;
  files.count = 2;  // the sync, and the first attempt to carry over
  EXPECT_FALSE((*journal)->sync());
  EXPECT_TRUE((*journal)->status().sync_failing);
  EXPECT_EQ((*journal)->append(time_from_ms(8), "t", "p").error(), AppendFailure::sync_failed);
  EXPECT_EQ((*journal)->status().synced, 5U);
  EXPECT_FALSE((*journal)->sync());
  EXPECT_TRUE((*journal)->sync());
  EXPECT_EQ((*journal)->status().synced, 9U);
  EXPECT_EQ((*journal)->append(time_from_ms(8), "t", "p")->position, 9U);
  const auto rest = reader.read({}, milliseconds{0});
  ASSERT_EQ(rest.size(), 3U) << "the reader finds its place in the new file";
  EXPECT_EQ(rest[0].position, 7U);
  EXPECT_EQ(rest[0].payload, payload_of(6));
  EXPECT_EQ(reader.lost_records(), 0U);
}

// What a power cut leaves: of each file all that was synced, and of the rest a part, or zeros.
TEST(JournalFaultsOf, a_power_cut_costs_only_what_was_not_synced) {
  std::mt19937 random(1);
  for (int round = 0; round < 200; ++round) {
    const Folder folder;
    const Folder after;
    CuttableFiles files;
    Position synced = 0;
    Position next = 0;
    {
      auto journal = Journal::open(small_segments(folder.path(), never), files);
      ASSERT_TRUE(journal.has_value());
      const int messages = static_cast<int>(random() % 60);
      for (int i = 0; i < messages; ++i) {
        ASSERT_TRUE((*journal)->append(time_from_ms(i), "t", payload_of(i)).has_value());
        if (random() % 9 == 0) (*journal)->sync();
      }
      synced = (*journal)->status().synced;
      next = (*journal)->status().next;
      for (const auto& [path, bytes] : files.synced()) {
        const std::string copy = after.path() + path.substr(path.rfind('/'));
        std::filesystem::copy_file(path, copy);
        const std::uint64_t size = std::filesystem::file_size(copy);
        std::filesystem::resize_file(copy, bytes + (size > bytes ? random() % (size - bytes + 1) : 0));
        if (random() % 2 == 0) std::filesystem::resize_file(copy, size);  // the rest is zeros
      }
    }
    std::uint64_t lost = 0;
    const std::vector<Kept> kept = read_all(after.path(), lost);
    for (std::size_t i = 0; i < kept.size(); ++i) {
      if (i + 1 < synced) {
        ASSERT_EQ(kept[i].position, i + 1) << round;
      }
      EXPECT_EQ(kept[i].payload, payload_of(static_cast<int>(kept[i].position) - 1)) << round;
    }
    EXPECT_GE(kept.size() + 1, synced) << round;
    auto settings = small_segments(after.path(), never);
    settings.not_below = next;
    auto journal = Journal::open(settings, files);
    ASSERT_TRUE(journal.has_value());
    EXPECT_EQ((*journal)->append(time_from_ms(99), "t", "new")->position, next) << "no position is used twice";
  }
}

}  // namespace
}  // namespace driftline::journal
