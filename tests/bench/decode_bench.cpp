// What it costs to read a message: topic, native JSON, recorded line. Times are per iteration; items are samples or lines.
#include <benchmark/benchmark.h>

#include <string>

#include "gateway/telemetry/decode.h"
#include "gateway/telemetry/recording.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

const Time received = *parse_rfc3339("2026-03-01T06:00:00.500Z");
constexpr std::string_view topic = "grease/northyard/ps-01/telemetry";

std::string sample_text(int i) {
  return R"({"time":")" + rfc3339(received + std::chrono::milliseconds{i * 1000}) + R"(","seq":)" + std::to_string(191913 + i) +
         R"(,"pump":true,"line":1,"pressure_bar":[)" + std::to_string(80 + i % 50) + R"(.5,0.7],"level_pct":56,"level_low":false,"temp_c":3.6})";
}

void topic_only(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(read_topic("grease", topic));
}
BENCHMARK(topic_only);

void one_sample(benchmark::State& state) {
  NativeDecoder decoder;
  Decoded out;
  const std::string payload = sample_text(0);
  for (auto _ : state) {
    decoder.decode(TopicKind::telemetry, payload, received, out);
    benchmark::DoNotOptimize(out.samples.data());
  }
  state.SetItemsProcessed(state.iterations());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(payload.size()));
}
BENCHMARK(one_sample);

void one_sample_with_topic(benchmark::State& state) {
  NativeDecoder decoder;
  Decoded out;
  const std::string payload = sample_text(0);
  for (auto _ : state) {
    const auto outcome = read_topic("grease", topic);
    decoder.decode(outcome.topic->kind, payload, received, out);
    benchmark::DoNotOptimize(out.samples.data());
  }
  state.SetItemsProcessed(state.iterations());
}
BENCHMARK(one_sample_with_topic);

void batch(benchmark::State& state) {
  NativeDecoder decoder;
  Decoded out;
  std::string payload = "[";
  for (int i = 0; i < state.range(0); ++i) payload += (i > 0 ? "," : "") + sample_text(i);
  payload += "]";
  for (auto _ : state) {
    decoder.decode(TopicKind::telemetry, payload, received, out);
    benchmark::DoNotOptimize(out.samples.data());
  }
  if (out.samples.size() != static_cast<std::size_t>(state.range(0))) state.SkipWithError("not all samples were read");
  state.SetItemsProcessed(state.iterations() * state.range(0));
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(payload.size()));
}
BENCHMARK(batch)->Arg(25)->Arg(1000);

void recorded_line(benchmark::State& state) {
  std::string line;
  append_record(line, {received, std::string(topic), sample_text(0)});
  Message message;
  for (auto _ : state) benchmark::DoNotOptimize(read_record(line, message));
  state.SetItemsProcessed(state.iterations());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(line.size()));
}
BENCHMARK(recorded_line);

void bad_message(benchmark::State& state) {
  NativeDecoder decoder;
  Decoded out;
  const std::string payload = R"({"time":"2026-03-01T06:00:00Z","pump":true,"line":1,"pressure_bar":[1,5;82.5]})";
  for (auto _ : state) {
    decoder.decode(TopicKind::telemetry, payload, received, out);
    benchmark::DoNotOptimize(out.faults.data());
  }
}
BENCHMARK(bad_message);

}  // namespace
}  // namespace driftline

BENCHMARK_MAIN();
