// A new step of the schema: append it in schema.cpp, raise schema_version, and run
//   DRIFTLINE_UPDATE=1 .build/dev/tests/unit_history --gtest_filter='Schema.*'
// which writes old/version-N.sql of the new version N, so that the step after it has a file to begin with. It touches no other
// file; a rebase that changes the number of a step throws its file away and runs this again. A step that fills or moves
// something adds a test of its own here over make_old_file.
#include "gateway/history/schema.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "gateway/history/database.h"
#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "tests/unit/history/examples.h"
#include "tests/unit/history/old_files.h"
#include "tests/unit/journal/folder.h"

namespace driftline::history {
namespace {

using journal::Folder;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr int example_rows = 4;

// A file as this program leaves it, with rows in every table.
void make_present_file(const std::string& file) {
  const auto history = History::open({.file = file, .cursors = {{.name = "metrics", .feeds = {Feed::half_cycles, Feed::warnings}}}});
  ASSERT_TRUE(history.has_value()) << history.error();
  for (int number = 0; number < example_rows; ++number) ASSERT_TRUE((*history)->commit(batch_of(number)).has_value());
  const CursorMark marks[]{{Feed::half_cycles, 2}, {Feed::warnings, 1}};
  const RefusedRow refused[]{{"metrics", Feed::half_cycles, 1, time_from_ms(1'772'344'900'000), 400, "half_cycle x=1", "no"}};
  ASSERT_TRUE((*history)->advance("metrics", marks, refused).has_value());
  const RolloutRow rollouts[]{rollout_row(0), rollout_row(1)};
  ASSERT_TRUE((*history)->note_rollouts(rollouts).has_value());
  const MessageRow messages[]{message_row(0), message_row(1)};
  ASSERT_TRUE((*history)->plan_messages(messages).has_value());
  const SessionRow sessions[]{session_row(0), session_row(1)};
  ASSERT_TRUE((*history)->keep_sessions(sessions, {}).has_value());
}

// Without it the next step could not be tried on what is out there; and a released step that was edited shows here.
TEST(Schema, a_file_of_this_version_is_kept_and_has_the_tables_that_this_program_makes) {
  const Folder folder;
  const std::string present = folder.path() + "/present.db";
  make_present_file(present);
  for (const auto& [table, rows] : tables_of(present)) EXPECT_FALSE(rows.empty()) << table << " needs a row in examples.h";
  if (std::getenv("DRIFTLINE_UPDATE") != nullptr) {
    ASSERT_EQ(std::getenv("CI"), nullptr) << "kept files are written by a person who looks at them";
    std::filesystem::create_directories(old_file_text(schema_version).parent_path());
    std::ofstream(old_file_text(schema_version), std::ios::binary) << statements_of(present);
  }
  const std::string kept = folder.path() + "/kept.db";
  make_old_file(schema_version, kept);
  EXPECT_EQ(schema_of(kept), schema_of(present));
}

// A file that was brought forward and one made anew must be the same to the program, and nothing may be lost on the way.
TEST(Schema, a_file_of_any_older_version_is_brought_forward_with_its_rows) {
  const Folder folder;
  const std::string fresh = folder.path() + "/fresh.db";
  ASSERT_TRUE(History::open({.file = fresh}).has_value());
  for (int version = 1; version <= schema_version; ++version) {
    SCOPED_TRACE("from version " + std::to_string(version));
    const std::string file = folder.path() + "/from-" + std::to_string(version) + ".db";
    make_old_file(version, file);
    const Tables before = tables_of(file);
    ASSERT_THAT(before.at("half_cycles"), SizeIs(example_rows));
    {
      const auto history = History::open(
          {.file = file, .cursors = {{.name = "metrics", .feeds = {Feed::half_cycles, Feed::warnings}}}});
      ASSERT_TRUE(history.has_value()) << history.error();
      EXPECT_THAT(lost(before, tables_of(file)), IsEmpty());
      ASSERT_TRUE((*history)->commit(batch_of(example_rows)).has_value());
      const auto read = Reader::open(file);
      ASSERT_TRUE(read.has_value()) << read.error().text;
      EXPECT_THAT((*read)->half_cycles_after(0, 99).value(), SizeIs(example_rows + 1));
      EXPECT_THAT((*read)->warnings_after(0, 99).value(), SizeIs(example_rows + 1));
      EXPECT_THAT((*read)->faults_after(0, 99).value(), SizeIs(example_rows + 1));
      EXPECT_THAT((*read)->states()->stations, SizeIs(example_rows + 1));
      EXPECT_THAT((*read)->cursor("metrics").value(), ElementsAre(CursorMark{Feed::half_cycles, 2}, CursorMark{Feed::warnings, 1}));
    }
    EXPECT_EQ(schema_of(file), schema_of(fresh));
  }
}

std::vector<const char*> steps_and(const char* one_more) {
  std::vector<const char*> steps(schema_steps().begin(), schema_steps().end());
  steps.push_back(one_more);
  return steps;
}

std::int64_t version_of(const std::string& file) {
  return Database(file, Database::Mode::read).number("PRAGMA user_version");
}

// The loop above must be able to fail: a step that loses a row, or a digit of it, is seen.
TEST(Schema, a_step_that_loses_something_is_seen) {
  const Folder folder;
  const auto losses_of = [&](const char* step) {
    const std::string file = folder.path() + "/" + std::to_string(std::hash<std::string_view>{}(step)) + ".db";
    make_old_file(1, file);
    const Tables before = tables_of(file);
    Database database(file, Database::Mode::write);
    prepare_for_writing(database, steps_and(step));
    return lost(before, tables_of(file));
  };
  EXPECT_THAT(losses_of("ALTER TABLE half_cycles ADD COLUMN kind TEXT; UPDATE half_cycles SET kind = 'turn'"), IsEmpty());
  EXPECT_THAT(losses_of("DELETE FROM faults WHERE id = 2"), Not(IsEmpty()));
  EXPECT_THAT(losses_of("UPDATE half_cycles SET vent_s = vent_s + 1e-9 WHERE id = 3"), SizeIs(1));
  EXPECT_THAT(losses_of("DROP TABLE refused"), ElementsAre("table refused"));
  EXPECT_THAT(losses_of("ALTER TABLE half_cycles DROP COLUMN curve"), SizeIs(example_rows));
}

// Left half done, a file would be neither of the one version nor of the other, and no program could open it again.
TEST(Schema, a_step_that_fails_leaves_the_file_at_the_version_before) {
  const Folder folder;
  const std::string file = folder.path() + "/history.db";
  make_old_file(1, file);
  const Tables before = tables_of(file);
  {
    Database database(file, Database::Mode::write);
    EXPECT_THROW(prepare_for_writing(database, steps_and("DELETE FROM faults; CREATE TABLE stations (no INTEGER)")), StoreError);
  }
  EXPECT_EQ(version_of(file), schema_version);
  EXPECT_THAT(lost(before, tables_of(file)), IsEmpty());
  Database database(file, Database::Mode::write);
  prepare_for_writing(database, steps_and("CREATE TABLE notes (id INTEGER PRIMARY KEY)"));
  EXPECT_EQ(version_of(file), schema_version + 1);
}

// A reader that ran on an older file would take columns for others.
TEST(Schema, a_reader_refuses_an_older_file_and_says_who_brings_it_forward) {
  const Folder folder;
  const std::string file = folder.path() + "/history.db";
  make_old_file(1, file);
  Database(file, Database::Mode::write).execute("PRAGMA user_version=0");
  const auto read = Reader::open(file);
  ASSERT_FALSE(read.has_value());
  EXPECT_THAT(read.error().text, HasSubstr("the writer brings it forward"));
}

}  // namespace
}  // namespace driftline::history
