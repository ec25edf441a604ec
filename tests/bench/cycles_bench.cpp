// What reordering and reconstruction cost a sample. Streams: the usual one (fast while pumping, one a minute at rest), one
// at 1 Hz throughout, and 10 Hz while pumping; each with and without a sample in a hundred late by up to 10 s.
#include <benchmark/benchmark.h>

#include "tests/unit/cycles/invented_station.h"

namespace {

using namespace driftline;
using namespace driftline::cycles;

void reconstruct(benchmark::State& bench) {
  Station station;
  station.fast_s = static_cast<double>(bench.range(0)) / 10.0;
  station.rest_s = bench.range(1) != 0 ? 60.0 : station.fast_s;
  const auto samples = station.samples(60);
  std::vector<std::pair<Time, const Sample*>> arriving;
  std::mt19937 random(3);
  for (const Sample& s : samples) {
    const double late = bench.range(2) != 0 && random() % 100 == 0 ? static_cast<double>(random() % 100) / 10.0 : 0.0;
    arriving.emplace_back(later_by_s(s.time, 0.2 + late), &s);
  }
  std::stable_sort(arriving.begin(), arriving.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  const ControllerSettings settings = station.settings();
  std::size_t turns = 0;
  for (auto _ : bench) {
    State state;
    std::vector<StationEvent> events;
    for (const auto& [received, sample] : arriving) {
      events.clear();
      take(state, *sample, received, settings, events);
      turns += events.size();
    }
  }
  benchmark::DoNotOptimize(turns);
  bench.SetItemsProcessed(static_cast<std::int64_t>(bench.iterations() * arriving.size()));
}
BENCHMARK(reconstruct)->ArgNames({"tenths", "slow_rest", "late"})
    ->Args({10, 1, 0})->Args({10, 1, 1})->Args({10, 0, 0})->Args({1, 1, 0})->Args({50, 1, 0});

}  // namespace

BENCHMARK_MAIN();
