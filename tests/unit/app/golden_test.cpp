// Recordings with what must come of them: tests/unit/replay/<case>/ holds recording.ndjson.gz, plant.json, why.md and the
// expected rows. Each is judged as a replay does it and as the running gateway does it, in small batches with the states
// saved and taken up again, and compared to the byte. Of warnings the places and changes are kept, not the forecasts: their
// last digits are the processor's.
//
//   DRIFTLINE_UPDATE=1 .build/dev/tests/unit_app --gtest_filter='Golden*'     writes the expected rows anew; not where CI is set
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "gateway/app/config.h"
#include "gateway/app/plant.h"
#include "gateway/app/row_files.h"
#include "gateway/telemetry/recording.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

const fs::path cases = fs::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/replay";

std::vector<PlantMessage> messages_of(const fs::path& recording) {
  auto reader = RecordingReader::open({recording});
  std::vector<PlantMessage> messages;
  if (!reader) return messages;
  RecordFault fault;
  for (PlantMessage next; reader->next(next.message, fault) == RecordingReader::Step::message; next = {}) {
    next.position = messages.size() + 1;
    messages.push_back(next);
  }
  return messages;
}

PlantSettings settings_of(const fs::path& folder) {
  auto loaded = load_config((folder / "plant.json").string());
  EXPECT_TRUE(loaded.config) << folder;
  return loaded.config ? loaded.config->plant : PlantSettings{};
}

std::string places_of_warnings(const std::string& rows) {
  std::istringstream in(rows);
  std::string out;
  for (std::string line; std::getline(in, line);) {
    const auto row = nlohmann::json::parse(line);
    nlohmann::ordered_json kept;
    for (const char* key : {"time", "site", "station", "line", "condition", "urgency", "change"}) kept[key] = row[key];
    out += kept.dump() + "\n";
  }
  return out;
}

using Rows = std::map<std::string, std::string>;

Rows kept(const RowFiles& files) {
  Rows rows;
  for (auto& [name, text] : files.texts()) {
    if (name == "forecasts.ndjson") continue;
    rows[name] = name == "warnings.ndjson" ? places_of_warnings(text) : text;
  }
  return rows;
}

Rows replayed(const std::vector<PlantMessage>& messages, PlantSettings settings) {
  settings.keep_states = false;
  settings.threads = 2;
  Plant plant(std::move(settings));
  RowFiles files;
  files.add(plant.judge(messages));
  files.add(plant.finish());
  return kept(files);
}

// In batches of `batch`; after each tenth the plant is ended and made anew from what was saved.
Rows lived(std::span<const PlantMessage> messages, const PlantSettings& settings, std::size_t batch) {
  std::map<StationId, Judged::StationSaved> stations;
  std::map<std::string, Judged::SiteSaved> sites;
  RowFiles files;
  auto plant = std::make_unique<Plant>(settings);
  const auto commit = [&](const Judged& judged) {
    files.add(judged);
    for (const auto& saved : judged.stations) stations[saved.station] = saved;
    for (const auto& saved : judged.sites) sites[saved.site] = saved;
  };
  std::size_t done = 0;
  for (std::size_t at = 0; at < messages.size();) {
    const std::size_t count = std::min(batch, messages.size() - at);
    commit(plant->judge(messages.subspan(at, count)));
    commit(plant->checkpoint(1));
    at += count;
    if (++done % 10 != 0) continue;
    at = plant->needed_from().value_or(1) - 1;
    plant = std::make_unique<Plant>(settings);
    for (const auto& [id, saved] : stations) {
      if (id == StationId{})
        plant->restore_unplaced(saved.reached);
      else
        EXPECT_TRUE(plant->restore(id, saved.bytes));
    }
    for (const auto& [site, saved] : sites) EXPECT_TRUE(plant->restore_site(site, saved.bytes));
  }
  commit(plant->finish());
  return kept(files);
}

std::string text_of_file(const fs::path& file) {
  std::ostringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  return text.str();
}

Rows expected(const fs::path& folder) {
  Rows rows;
  for (const char* name : {"half-cycles.ndjson", "warnings.ndjson", "reservoirs.ndjson", "faults.ndjson"})
    rows[name] = text_of_file(folder / "expected" / name);
  return rows;
}

void update(const fs::path& folder, const Rows& rows) {
  ASSERT_EQ(std::getenv("CI"), nullptr) << "expected rows are written by a person who looks at them";
  fs::create_directories(folder / "expected");
  for (const auto& [name, text] : rows) std::ofstream(folder / "expected" / name, std::ios::binary) << text;
}

// A change of what a recording comes to, meant or not, shows here as a difference of rows.
TEST(Golden, recordings_come_to_what_is_written_beside_them_replayed_and_live) {
  std::size_t seen = 0;
  for (const auto& entry : fs::directory_iterator(cases)) {
    const fs::path folder = entry.path();
    const auto messages = messages_of(folder / "recording.ndjson.gz");
    ASSERT_FALSE(messages.empty()) << folder;
    const PlantSettings settings = settings_of(folder);
    const Rows rows = replayed(messages, settings);
    if (std::getenv("DRIFTLINE_UPDATE") != nullptr) update(folder, rows);
    EXPECT_EQ(rows, expected(folder)) << folder;
    EXPECT_EQ(lived(messages, settings, 97), rows) << folder;
    ++seen;
  }
  EXPECT_GE(seen, 2U);
}

// The loop above must be able to fail: one message less is another result.
TEST(Golden, a_missing_message_is_seen) {
  const fs::path folder = fs::directory_iterator(cases)->path();
  auto messages = messages_of(folder / "recording.ndjson.gz");
  ASSERT_GT(messages.size(), 1000U);
  messages.erase(messages.begin() + static_cast<std::ptrdiff_t>(messages.size() / 2),
                 messages.begin() + static_cast<std::ptrdiff_t>(messages.size() / 2) + 300);
  EXPECT_NE(replayed(messages, settings_of(folder)), expected(folder));
}

}  // namespace
}  // namespace driftline
