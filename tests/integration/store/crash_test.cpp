// Journal and history of a process that is killed with -9 at random moments, again and again. A small judgement stands for
// the plant: every station chains a number over its messages, every third message puts out a row, states of stations that
// put nothing out lag and are checkpointed in rotation, as in the gateway.
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <map>
#include <random>
#include <thread>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/journal/reader.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

using driftline::testing::TempFolder;
using std::chrono::milliseconds;

constexpr std::uint64_t messages = 24'000;  // enough that a fast machine is killed many times before it is through
constexpr int stations = 13;

// Seen by parent and child, and not undone by the child's death.
struct Shared {
  std::atomic<std::uint64_t> acknowledged{0};  // appends that returned
  std::atomic<bool> done{false};
};

struct Station {
  std::uint64_t position = 0;  // first message not taken
  std::uint64_t chain = 0;
  bool changed = false;
};

StationId station_of(std::uint64_t message) { return {"site", "ps-" + std::to_string(message * 7 % stations)}; }

// Takes one message; true if a row comes of it.
bool take(Station& state, std::uint64_t message) {
  state.chain = state.chain * 6'364'136'223'846'793'005ULL + message + 1;
  state.position = message + 1;
  state.changed = true;
  return message % 3 == 0;
}

HalfCycle row_of(std::uint64_t message, const Station& state) {
  HalfCycle row;
  row.samples = static_cast<int>(message);
  row.pump_start = time_from_ms(static_cast<std::int64_t>(message));
  row.peak_bar = static_cast<double>(state.chain >> 12);
  return row;
}

// What an undisturbed run stores.
std::vector<history::HalfCycleRow> expected_rows() {
  std::map<StationId, Station> all;
  std::vector<history::HalfCycleRow> rows;
  for (std::uint64_t message = 1; message <= messages; ++message) {
    Station& state = all[station_of(message)];
    if (take(state, message)) rows.push_back({station_of(message), row_of(message, state)});
  }
  return rows;
}

// Messages are numbered as the journal does it, so the number to come next is known after every crash.
void append_messages(journal::Journal& journal, Shared& shared) {
  for (std::uint64_t message = journal.status().next; message <= messages; ++message) {
    const auto appended = journal.append(time_from_ms(static_cast<std::int64_t>(message)), "t", std::to_string(message));
    if (!appended || appended->position != message) std::_Exit(3);
    shared.acknowledged.store(message);
    if (message % 50 == 0) std::this_thread::sleep_for(milliseconds{1});
  }
}

void judge_messages(journal::Journal& journal, history::History& history, Shared& shared) {
  auto states = *(*history::Reader::open(history.file()))->states();
  std::map<StationId, Station> all;
  for (const auto& row : states.stations) all[row.station] = {row.position, std::stoull(row.bytes), false};
  std::uint64_t taken_to = std::max<std::uint64_t>(states.taken_to, 1);
  journal::Reader reader(journal, std::max<std::uint64_t>(states.resume_from, 1));
  std::size_t turn = 0;
  while (taken_to <= messages) {
    history::Batch batch;
    std::map<StationId, bool> put_out;
    for (const auto& record : reader.read({.records_max = 40}, milliseconds{5})) {
      const std::uint64_t message = std::stoull(std::string(record.payload));
      Station& state = all[station_of(message)];
      if (message < state.position) continue;  // taken in an earlier life
      if (take(state, message)) {
        batch.half_cycles.push_back({station_of(message), row_of(message, state)});
        put_out[station_of(message)] = true;
      }
      taken_to = std::max(taken_to, message + 1);
    }
    // Those that put something out, and one more in rotation.
    std::size_t at = 0;
    for (auto& [id, state] : all) {
      const bool chosen = at++ == turn % all.size() || put_out.contains(id) || taken_to > messages;
      if (!chosen || !state.changed) continue;
      batch.station_states.push_back({id, state.position, std::to_string(state.chain)});
      state.changed = false;
    }
    ++turn;
    // The lowest message that a stored state has not taken: of stations that changed since, what was stored last.
    static std::map<StationId, std::uint64_t> stored;
    if (stored.empty())
      for (const auto& row : states.stations) stored[row.station] = row.position;
    for (const auto& row : batch.station_states) stored[row.station] = row.position;
    batch.resume_from = taken_to;
    for (const auto& [id, state] : all)
      if (state.changed) batch.resume_from = std::min(batch.resume_from, stored.contains(id) ? stored[id] : 1);
    batch.taken_to = taken_to;
    if (!history.commit(batch)) std::_Exit(4);
    if (turn % 20 == 0) {
      if (!history.tend(time_from_ms(0))) std::_Exit(5);
      journal.retain(history.needed_from(), time_from_ms(1'000'000'000'000));
    }
  }
  shared.done.store(true);
}

[[noreturn]] void live(const TempFolder& folder, Shared& shared) {
  auto history = history::History::open({.file = folder.file("history.db")});
  if (!history) std::_Exit(1);
  const auto states = (*history::Reader::open((*history)->file()))->states();
  auto journal = journal::Journal::open({.directory = folder.file("journal"),
                                         .sync_every = milliseconds{5},
                                         .segment_bytes = 8'192,
                                         .keep_bytes = 0,
                                         .not_below = std::max<std::uint64_t>(states->taken_to, 1)});
  if (!journal) std::_Exit(2);
  // All that was acknowledged must be there, whenever the life before ended.
  if ((*journal)->status().next <= shared.acknowledged.load()) std::_Exit(6);
  std::thread source([&] { append_messages(**journal, shared); });
  judge_messages(**journal, **history, shared);
  source.join();
  std::_Exit(0);
}

// A gateway that is killed must go on as if nothing had happened: every row once, with the state that led to it.
TEST(StoreCrash, killed_at_random_moments_the_rows_are_those_of_an_undisturbed_run) {
  const TempFolder folder;
  void* memory = ::mmap(nullptr, sizeof(Shared), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
  ASSERT_NE(memory, MAP_FAILED);
  auto& shared = *new (memory) Shared;
  const unsigned seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  int kills = 0;
  for (int life = 0; life < 1'000 && !shared.done; ++life) {
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) live(folder, shared);
    std::this_thread::sleep_for(milliseconds{random() % 60});
    if (kills < 60) {
      ::kill(child, SIGKILL);
      ++kills;
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    ASSERT_TRUE(WIFSIGNALED(status) || WEXITSTATUS(status) == 0) << "the child ended with " << WEXITSTATUS(status);
  }
  ASSERT_TRUE(shared.done);
  EXPECT_GT(kills, 5);
  auto reader = *history::Reader::open(folder.file("history.db"));
  const auto rows = *reader->half_cycles_after(0, 20'000);
  const auto expected = expected_rows();
  ASSERT_EQ(rows.size(), expected.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    ASSERT_EQ(rows[i].id, static_cast<std::int64_t>(i) + 1) << "an id is missing";
    ASSERT_EQ(rows[i].row, expected[i]) << "row " << i + 1;
  }
  std::printf("killed %d times\n", kills);
  ::munmap(memory, sizeof(Shared));
}

}  // namespace
}  // namespace driftline
