// The durable logs and the lines that leave: what they cost. Data go to the folder for temporary files (TMPDIR).
#include <benchmark/benchmark.h>

#include <algorithm>
#include <chrono>

#include "gateway/history/history.h"
#include "gateway/history/reader.h"
#include "gateway/journal/reader.h"
#include "gateway/metrics/gzip.h"
#include "gateway/metrics/line.h"
#include "tests/support/temp_folder.h"
#include "tests/unit/history/examples.h"

namespace driftline {
namespace {

using driftline::testing::TempFolder;
using std::chrono::milliseconds;

const std::string topic = "grease/northyard/ps-01/telemetry";
const std::string payload = R"({"time":"2026-03-01T06:00:00.310Z","seq":123456,"pump":true,"line":1,)"
                            R"("pressure_bar":[123.4,2.1],"level_pct":71.3,"temp_c":-4.2})";

// Argument: sync interval in ms; 0: each append waits for the disk.
void append(benchmark::State& state) {
  const TempFolder folder;
  auto journal = journal::Journal::open({.directory = folder.file("journal"),
                                         .sync_every = milliseconds{state.range(0)},
                                         .bytes_max = 64ULL << 30,
                                         .keep_bytes = 256ULL << 20});
  std::int64_t now = 0;
  for (auto _ : state) {
    benchmark::DoNotOptimize((*journal)->append(time_from_ms(++now), topic, payload));
    if (now % 1'000'000 == 0) {
      state.PauseTiming();
      (*journal)->sync();
      (*journal)->retain((*journal)->status().next, time_from_ms(now));
      state.ResumeTiming();
    }
  }
  state.SetItemsProcessed(state.iterations());
}
BENCHMARK(append)->Arg(200)->Arg(10)->Name("journal_append/sync_ms");
BENCHMARK(append)->Arg(0)->Iterations(500)->Name("journal_append/sync_ms");

// How long a single append can take while the disk is being synced beside it: the message callback waits for it.
void append_tail(benchmark::State& state) {
  const TempFolder folder;
  auto journal = journal::Journal::open({.directory = folder.file("journal")});
  std::vector<double> taken_us;
  taken_us.reserve(4'000'000);
  for (auto _ : state) {
    const auto begin = std::chrono::steady_clock::now();
    benchmark::DoNotOptimize((*journal)->append(time_from_ms(1), topic, payload));
    taken_us.push_back(std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - begin).count());
  }
  std::sort(taken_us.begin(), taken_us.end());
  const auto at = [&](double share) { return taken_us[static_cast<std::size_t>(share * static_cast<double>(taken_us.size() - 1))]; };
  state.counters["p50_us"] = at(0.5);
  state.counters["p99_us"] = at(0.99);
  state.counters["p99.9_us"] = at(0.999);
  state.counters["p99.99_us"] = at(0.9999);
  state.counters["most_us"] = at(1);
}
BENCHMARK(append_tail)->Iterations(2'000'000)->Name("journal_append_tail");

void read(benchmark::State& state) {
  const TempFolder folder;
  auto journal = journal::Journal::open({.directory = folder.file("journal")});
  constexpr int records = 1'000'000;
  for (int i = 0; i < records; ++i) (void)(*journal)->append(time_from_ms(i), topic, payload);
  std::int64_t bytes = 0;
  std::int64_t items = 0;
  for (auto _ : state) {
    journal::Reader reader(**journal, 0);
    for (auto some = reader.read({}, milliseconds{0}); !some.empty(); some = reader.read({}, milliseconds{0})) {
      items += static_cast<std::int64_t>(some.size());
      for (const auto& record : some)
        bytes += static_cast<std::int64_t>(journal::record_bytes(record.topic.size(), record.payload.size()));
    }
  }
  state.SetBytesProcessed(bytes);
  state.SetItemsProcessed(items);
}
BENCHMARK(read)->Name("journal_read")->Unit(benchmark::kMillisecond);

// Half-cycles of 1,000 stations with curves of 64 points, each batch with the states (6 kB) of its stations.
history::Batch batch_of_rows(std::int64_t rows, bool with_states, std::int64_t& number) {
  history::Batch batch;
  for (std::int64_t i = 0; i < rows; ++i, ++number) {
    history::HalfCycleRow row = history::half_cycle_row(static_cast<int>(number % 1'000));
    row.half_cycle.pump_start += milliseconds{number * 1'000};
    row.half_cycle.shape.curve.clear();
    for (int p = 0; p < 64; ++p) row.half_cycle.shape.curve.push_back({p * 3.1, p * 2.9 + 0.1});
    if (with_states)
      batch.station_states.push_back({row.station, static_cast<std::uint64_t>(number), std::string(6'000, 's')});
    batch.half_cycles.push_back(std::move(row));
  }
  return batch;
}

void commit(benchmark::State& state) {
  const TempFolder folder;
  auto history = history::History::open({.file = folder.file("history.db")});
  std::int64_t number = 0;
  for (auto _ : state) {
    state.PauseTiming();
    const history::Batch batch = batch_of_rows(state.range(0), state.range(1) != 0, number);
    state.ResumeTiming();
    if (!(*history)->commit(batch)) state.SkipWithError("commit failed");
  }
  state.SetItemsProcessed(number);
}
BENCHMARK(commit)
    ->ArgNames({"rows", "states"})
    ->Args({1, 0})->Args({100, 0})->Args({1'000, 0})->Args({100, 1})->Args({1'000, 1})
    ->UseRealTime()
    ->Name("history_commit");

void advance(benchmark::State& state) {
  const TempFolder folder;
  auto history = history::History::open({.file = folder.file("history.db")});
  history::CursorMark mark{history::Feed::half_cycles, 0};
  for (auto _ : state) {
    ++mark.id;
    (void)(*history)->advance("metrics", {&mark, 1});
  }
}
BENCHMARK(advance)->UseRealTime()->Name("history_advance_cursor");

void read_rows(benchmark::State& state) {
  const TempFolder folder;
  auto history = history::History::open({.file = folder.file("history.db")});
  std::int64_t number = 0;
  for (int i = 0; i < 50; ++i) (void)(*history)->commit(batch_of_rows(1'000, false, number));
  auto reader = *history::Reader::open(folder.file("history.db"));
  std::int64_t rows = 0;
  for (auto _ : state) rows += static_cast<std::int64_t>(reader->half_cycles_after(rows % 45'000, 5'000)->size());
  state.SetItemsProcessed(rows);
}
BENCHMARK(read_rows)->Name("history_read_half_cycles")->Unit(benchmark::kMillisecond);

void encode(benchmark::State& state) {
  const history::HalfCycleRow row = history::half_cycle_row(7);
  std::string out;
  for (auto _ : state) {
    if (out.size() > (1U << 20)) out.clear();
    benchmark::DoNotOptimize(metrics::append_line(out, row.station, row.half_cycle));
  }
  state.SetItemsProcessed(state.iterations());
}
BENCHMARK(encode)->Name("line_half_cycle");

void zip(benchmark::State& state) {
  std::string lines;
  for (int number = 0; number < 5'000; ++number) {
    const history::HalfCycleRow row = history::half_cycle_row(number);
    (void)metrics::append_line(lines, row.station, row.half_cycle);
  }
  std::size_t zipped = 0;
  for (auto _ : state) zipped = metrics::gzipped(lines).size();
  state.SetItemsProcessed(state.iterations() * 5'000);
  state.counters["ratio"] = static_cast<double>(lines.size()) / static_cast<double>(zipped);
}
BENCHMARK(zip)->Name("line_gzip_of_5000")->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace driftline

BENCHMARK_MAIN();
