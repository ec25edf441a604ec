// Every sample that came is accounted for, station by station.
#include <gtest/gtest.h>
#include <rapidcheck.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <span>
#include <string>
#include <vector>

#include "gateway/app/plant.h"

namespace driftline {
namespace {

constexpr std::int64_t start_ms = 1'772'323'200'000;  // 2026-03-01T00:00:00Z

// Turns of ten minutes, sampled each 2 s while something happens and each minute at rest.
double bar_at(std::int64_t s) {
  const auto since = static_cast<double>(s % 600);
  if (since < 60) return 3.2 * since;
  return 190 * std::exp(-(since - 60) / 8.0) + 1;
}

std::string sample_text(std::int64_t ms, std::uint64_t seq) {
  const std::int64_t s = (ms - start_ms) / 1000;
  return R"({"time":)" + std::to_string(ms) + R"(,"seq":)" + std::to_string(seq) + R"(,"pump":)" +
         (s % 600 < 60 ? "true" : "false") + R"(,"line":1,"pressure_bar":[)" + std::to_string(bar_at(s)) + "]}";
}

// A text that no sample can be read from.
std::string bad_sample(int which) {
  switch (which) {
    case 0: return R"({"pump":true})";
    case 1: return R"({"time":"yesterday","pump":true})";
    case 2: return "17";
    default: return R"({"time":1772323200000})";
  }
}

struct Sent {
  std::int64_t received_ms = 0;
  std::string payload;
  std::uint64_t samples = 0;  // as the test counts them
};

class Sender {
 public:
  explicit Sender(std::uint32_t seed) : random_(seed) {}

  // Three hours of a station: samples late and doubled, stretches kept for later or lost, a clock that steps, nonsense in between.
  std::vector<Sent> messages() {
    std::vector<std::string> kept;
    const std::int64_t outage_from = 600 * in(2, 12);
    const std::int64_t outage_to = outage_from + in(40, 1500);
    const bool lost = in(0, 2) == 0;
    const std::int64_t step_at = in(0, 2) == 0 ? in(1000, 9000) : 1 << 20;
    const std::int64_t step_ms = in(-200, 200) * 1000;
    std::uint64_t seq = 0;
    for (std::int64_t s = 0; s < 3 * 3600; s += s % 600 < 120 ? 2 : 60) {
      const std::string text = sample_text(start_ms + 1000 * s + (s >= step_at ? step_ms : 0), seq++);
      if (s >= outage_from && s < outage_to) {
        if (!lost) kept.push_back(text);
        continue;
      }
      const std::int64_t late_ms = in(0, 20) == 0 ? in(0, 90'000) : 200;
      send(1000 * s + late_ms, text, 1);
      if (in(0, 8) == 0) send(1000 * s + in(0, 60'000), text, 1);
      if (in(0, 30) == 0) send(1000 * s + 300, bad_sample(static_cast<int>(in(0, 4))), 1);
      if (in(0, 60) == 0) send(1000 * s + 300, "{\"time\":", 1);
      if (in(0, 60) == 0) send(1000 * s + 300, "[]", 0);
    }
    send_batches(kept, 1000 * (outage_to + in(1, 3000)));
    std::stable_sort(out_.begin(), out_.end(), [](const Sent& a, const Sent& b) { return a.received_ms < b.received_ms; });
    return std::move(out_);
  }

 private:
  std::int64_t in(std::int64_t from, std::int64_t to) { return from + static_cast<std::int64_t>(random_() % static_cast<std::uint64_t>(to - from)); }
  void send(std::int64_t at_ms, std::string payload, std::uint64_t samples) {
    out_.push_back({start_ms + at_ms, std::move(payload), samples});
  }
  // What was kept over the outage, in batches of twenty, some of them twice, a bad sample in each.
  void send_batches(const std::vector<std::string>& kept, std::int64_t at_ms) {
    for (std::size_t i = 0; i < kept.size(); i += 20) {
      const std::size_t end = std::min(kept.size(), i + 20);
      std::string batch = "[" + bad_sample(static_cast<int>(in(0, 4)));
      for (std::size_t k = i; k < end; ++k) batch += "," + kept[k];
      batch += "]";
      for (std::int64_t copies = in(1, 3); copies > 0; --copies) send(at_ms += in(100, 9000), batch, end - i + 1);
    }
  }

  std::mt19937 random_;
  std::vector<Sent> out_;
};

std::uint64_t accounted(const StationSummary& s) {
  return s.samples_used + s.samples_doubled + s.samples_refused + s.samples_held + s.samples_behind;
}

TEST(Accounting, every_sample_is_used_doubled_refused_held_or_behind) {
  // A sample lost in silence looks like a station that did not send it.
  EXPECT_TRUE(rc::check("shuffled, doubled, late, with outages and bad samples", [] {
    PlantSettings settings;
    settings.keep_states = false;
    Plant plant(settings);
    std::array<std::uint64_t, 2> sent{};
    struct Arrived {
      std::size_t station;
      Sent what;
    };
    std::vector<Arrived> all;
    for (std::size_t station = 0; station < 2; ++station)
      for (Sent& one : Sender(*rc::gen::arbitrary<std::uint32_t>()).messages()) all.push_back({station, std::move(one)});
    std::stable_sort(all.begin(), all.end(), [](const Arrived& a, const Arrived& b) { return a.what.received_ms < b.what.received_ms; });
    Position position = 0;
    const auto adds_up = [&] {
      const auto stations = plant.stations();
      for (const StationSummary& s : stations) {
        RC_ASSERT(!s.set_aside);
        RC_ASSERT(accounted(s) == sent[s.station.station == "ps-0" ? 0 : 1]);
        RC_ASSERT(s.samples + s.samples_refused == accounted(s));
      }
      return stations;
    };
    for (const Arrived& a : all) {
      const PlantMessage message{++position, {time_from_ms(a.what.received_ms), "grease/northyard/ps-" + std::to_string(a.station) + "/telemetry", a.what.payload}};
      static_cast<void>(plant.judge(std::span(&message, 1)));
      sent[a.station] += a.what.samples;
      if (position % 50 == 0) adds_up();
    }
    static_cast<void>(plant.finish());
    for (const StationSummary& s : adds_up()) {
      RC_ASSERT(s.samples_held == 0U);
      RC_ASSERT(s.samples_used > 300U);
      RC_ASSERT(s.samples_doubled > 0U);
      RC_ASSERT(s.samples_refused > 0U);
    }
  }));
}

}  // namespace
}  // namespace driftline
