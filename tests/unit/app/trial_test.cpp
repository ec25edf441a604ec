// A trial over what the rules were fed gives the warnings that the running gateway raised, to the byte.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <map>
#include <random>

#include "gateway/app/config.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/plant.h"
#include "gateway/app/row_files.h"
#include "gateway/app/trial/play.h"
#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/telemetry/recording.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;
using ::testing::IsEmpty;
using ::testing::Not;
using driftline::testing::TempFolder;

const fs::path cases = fs::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/replay";

std::vector<PlantMessage> messages_of(const fs::path& recording) {
  auto reader = RecordingReader::open({recording});
  std::vector<PlantMessage> messages;
  RecordFault fault;
  if (!reader) return messages;
  for (PlantMessage next; reader->next(next.message, fault) == RecordingReader::Step::message; next = {}) {
    next.position = messages.size() + 1;
    messages.push_back(next);
  }
  return messages;
}

// What the rules say, as rows.
using Rows = std::map<std::string, std::string>;
Rows said(const RowFiles& files) {
  Rows rows;
  for (auto& [name, text] : files.texts())
    if (name != "half-cycles.ndjson" && name != "faults.ndjson") rows[name] = text;
  return rows;
}

struct Lived {
  Rows rows;
  Time until{};
};

// As the running gateway: batches of random size, each committed; now and then the plant is ended and made anew from what
// was saved, and reads again what the saved states have not taken.
Lived lived(std::span<const PlantMessage> messages, const PlantSettings& settings, history::History& store, unsigned seed) {
  std::mt19937 random(seed);
  PlantSettings kept = settings;
  kept.keep_fed = true;
  Plant plant(kept);
  RowFiles files;
  const auto take = [&](Judged&& judged) {
    files.add(judged);
    history::Batch batch;
    append_judged(batch, std::move(judged));
    EXPECT_TRUE(is_empty(batch) || store.commit(batch).has_value());
  };
  for (std::size_t at = 0; at < messages.size();) {
    const std::size_t size = std::min<std::size_t>(1 + random() % 900, messages.size() - at);
    take(plant.judge(messages.subspan(at, size)));
    at += size;
    if (random() % 9 == 0) take(plant.checkpoint(1));
    if (random() % 23 != 0) continue;
    const auto states = (*history::Reader::open(store.file()))->states();
    EXPECT_TRUE(states.has_value());
    at = plant.needed_from().value_or(1) - 1;
    plant = Plant(kept);
    EXPECT_THAT(restore(plant, *states), IsEmpty());
  }
  take(plant.finish());
  take(plant.checkpoint(1'000));
  return {said(files), plant.now()};
}

Rows tried(const std::string& file, const PlantSettings& settings, Time until, bool with_curves) {
  auto reader = *history::Reader::open(file);
  std::map<std::string, std::map<std::string, std::vector<fold::Step>>> sites;
  const auto stations = reader->fed_stations();
  EXPECT_TRUE(stations.has_value());
  for (const auto& [id, last] : *stations) {
    const auto configured = settings.stations.find(id);
    const rules::StationContext context =
        configured == settings.stations.end() ? rules::StationContext{id, {}, settings.defaults} : configured->second;
    const auto tape = reader->fed_tape(id, {time_from_ms(0), until + std::chrono::hours{1}}, with_curves);
    EXPECT_TRUE(tape.has_value()) << tape.error().text;
    sites[id.site][id.station] = trial::play(*tape, context, until);
  }
  Judged judged;
  for (auto& [site, steps] : sites) {
    trial::SiteStory story = trial::play_site(site, std::move(steps), until);
    for (auto& row : story.warnings) judged.warnings.push_back(std::move(row));
    for (auto& row : story.reservoirs) judged.reservoirs.push_back(std::move(row));
    for (auto& row : story.forecasts) judged.forecasts.push_back(std::move(row));
  }
  RowFiles files;
  files.add(judged);
  return said(files);
}

// Thresholds that are tried must be judged as they would have been in force, or the engineer is told of warnings that will
// not come and not told of those that will. Whatever the cut of the batches, the crashes between them and the thresholds.
TEST(Trial, over_what_was_kept_gives_the_warnings_that_were_raised_to_the_byte) {
  int warnings = 0;
  for (const char* name : {"slow-leak-in-five-days", "mixed-senders-two-days"}) {
    const fs::path folder = cases / name;
    const auto messages = messages_of(folder / "recording.ndjson.gz");
    ASSERT_THAT(messages, Not(IsEmpty()));
    auto loaded = load_config((folder / "plant.json").string());
    ASSERT_TRUE(loaded.config);
    for (const unsigned seed : {1U, 2U, 3U}) {
      SCOPED_TRACE(std::string(name) + ", seed " + std::to_string(seed));
      std::mt19937 random(seed);
      PlantSettings settings = loaded.config->plant;
      const auto vary = [&](Thresholds& t) {
        t.turns_to_learn = 10 + static_cast<int>(random() % 40);
        t.false_warnings_per_year = 0.05 * static_cast<double>(1 + random() % 100);
        t.plan_days = static_cast<double>(4 + random() % 40);
        t.silent_after_s = 600.0 + static_cast<double>(random() % 8000);
      };
      vary(settings.defaults);
      for (auto& [id, context] : settings.stations) vary(context.thresholds);
      const TempFolder data;
      const auto store = history::History::open({.file = data.file("history.db")});
      ASSERT_TRUE(store.has_value()) << store.error();
      const Lived live = lived(messages, settings, **store, seed);
      const Rows trial = tried(data.file("history.db"), settings, live.until, seed % 2 == 0);
      for (const auto& [file, text] : live.rows) EXPECT_EQ(trial.at(file), text) << file;
      warnings += static_cast<int>(std::count(live.rows.at("warnings.ndjson").begin(), live.rows.at("warnings.ndjson").end(), '\n'));
      EXPECT_FALSE(live.rows.at("reservoirs.ndjson").empty());
    }
  }
  EXPECT_GE(warnings, 10) << "too few for the comparison to mean much";
}

// A condition that an engineer has switched off must call nobody, and must not hide what is watched.
TEST(Trial, what_is_not_watched_is_not_told) {
  const fs::path folder = cases / "slow-leak-in-five-days";
  const auto messages = messages_of(folder / "recording.ndjson.gz");
  auto loaded = load_config((folder / "plant.json").string());
  ASSERT_TRUE(loaded.config);
  const auto conditions = [&](const PlantSettings& settings) {
    PlantSettings with = settings;
    with.keep_states = false;
    Plant plant(std::move(with));
    std::map<Condition, int> told;
    for (const Judged& judged : {plant.judge(messages), plant.finish()})
      for (const WarningChange& change : judged.warnings) ++told[change.condition];
    return told;
  };
  PlantSettings settings = loaded.config->plant;
  const auto all = conditions(settings);
  ASSERT_GE(all.size(), 1U);
  for (const auto& [condition, count] : all) {
    PlantSettings blind = settings;
    for (auto& [id, context] : blind.stations) context.thresholds.conditions[static_cast<std::size_t>(condition)].watched = false;
    EXPECT_FALSE(conditions(blind).contains(condition)) << static_cast<int>(condition);
  }
}

}  // namespace
}  // namespace driftline
