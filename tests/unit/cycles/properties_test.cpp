// Properties that hold for any order of arrival, any cut and any date.
#include <gtest/gtest.h>
#include <rapidcheck.h>

#include "gateway/cycles/limits.h"
#include "tests/unit/cycles/invented_station.h"

namespace driftline::cycles {
namespace {

Station any_station() {
  Station station;
  station.lines = *rc::gen::inRange(1, 4);
  station.cycle_s = 400.0 * station.lines;
  station.fast_s = *rc::gen::element(1.0, 2.0, 5.0);
  station.rest_s = *rc::gen::element(5.0, 60.0);
  station.says_pump = *rc::gen::arbitrary<bool>();
  station.says_line = *rc::gen::arbitrary<bool>();
  station.says_seq = *rc::gen::arbitrary<bool>();
  station.phase_s = *rc::gen::element(0.1, 0.77, 1.9);
  return station;
}

struct Arriving {
  Sample sample;
  Time received{};
};

std::vector<HalfCycle> told_of(const std::vector<Arriving>& arriving, const ControllerSettings& settings) {
  State state;
  std::vector<StationEvent> events;
  for (const Arriving& a : arriving) take(state, a.sample, a.received, settings, events);
  finish(state, settings, events);
  return half_cycles_in(events);
}

TEST(Properties, order_and_doubles_within_the_window_change_nothing) {
  // The answer would depend on the network.
  EXPECT_TRUE(rc::check("shuffled and doubled within the lateness", [] {
    const Station station = any_station();
    std::vector<Arriving> plain;
    for (const Sample& s : station.samples(4)) plain.push_back({s, later_by_s(s.time, 0.2)});
    std::vector<Arriving> mixed;
    std::mt19937 random(*rc::gen::arbitrary<std::uint32_t>());
    std::uniform_real_distribution<double> late(0.0, 12.0);
    for (const Arriving& a : plain) {
      mixed.push_back({a.sample, later_by_s(a.received, late(random))});
      if (random() % 10 == 0) mixed.push_back({a.sample, later_by_s(a.received, late(random))});
    }
    std::stable_sort(mixed.begin(), mixed.end(), [](const Arriving& a, const Arriving& b) { return a.received < b.received; });
    RC_ASSERT(told_of(mixed, station.settings()) == told_of(plain, station.settings()));
  }));
}

TEST(Properties, saved_and_loaded_anywhere_it_goes_on_the_same) {
  // A gateway that was restarted would tell other turns than one that was not.
  EXPECT_TRUE(rc::check("split, saved, loaded", [] {
    const Station station = any_station();
    const auto samples = station.samples(4);
    const auto cut = static_cast<std::size_t>(*rc::gen::inRange(0, static_cast<int>(samples.size())));
    State whole;
    State parts;
    std::vector<StationEvent> of_whole;
    std::vector<StationEvent> of_parts;
    for (std::size_t i = 0; i < samples.size(); ++i) {
      if (i == cut) {
        const auto loaded = load(save(parts));
        RC_ASSERT(loaded.has_value());
        RC_ASSERT(*loaded == parts);
        parts = *loaded;
      }
      take(whole, samples[i], later_by_s(samples[i].time, 0.2), station.settings(), of_whole);
      take(parts, samples[i], later_by_s(samples[i].time, 0.2), station.settings(), of_parts);
    }
    finish(whole, station.settings(), of_whole);
    finish(parts, station.settings(), of_parts);
    RC_ASSERT(of_whole == of_parts);
  }));
}

TEST(Properties, whole_days_later_only_the_stamps_differ) {
  // A figure would depend on the date.
  EXPECT_TRUE(rc::check("moved by days", [] {
    Station station = any_station();
    const auto before = half_cycles_of(station, 3);
    const std::int64_t by_ms = 86'400'000LL * *rc::gen::inRange(1, 400);
    station.epoch_ms += by_ms;
    auto after = half_cycles_of(station, 3);
    for (HalfCycle& half : after) {
      half.pump_start -= std::chrono::milliseconds{by_ms};
      half.pump_stop -= std::chrono::milliseconds{by_ms};
    }
    RC_ASSERT(before == after);
  }));
}

TEST(Properties, advancing_late_or_often_gives_the_same) {
  // Silence would be counted by how often the program looks.
  EXPECT_TRUE(rc::check("advanced at every wake, or only by the next sample", [] {
    const Station station = any_station();
    State often;
    State seldom;
    std::vector<StationEvent> of_often;
    std::vector<StationEvent> of_seldom;
    for (const Sample& s : station.samples(3)) {
      const Time received = later_by_s(s.time, 0.2);
      int turns = 0;
      while (const auto wake = wake_at(often)) {
        if (*wake > received || ++turns > 1000) break;
        advance_to(often, *wake, station.settings(), of_often);
      }
      RC_ASSERT(turns < 1000);
      take(often, s, received, station.settings(), of_often);
      take(seldom, s, received, station.settings(), of_seldom);
    }
    RC_ASSERT(of_often == of_seldom);
  }));
}

TEST(Properties, samples_lost_at_random_invent_and_split_nothing) {
  // More half-cycles than turns is a lie, whatever was lost.
  EXPECT_TRUE(rc::check("a tenth of the samples lost", [] {
    const Station station = any_station();
    std::vector<Sample> kept;
    std::mt19937 random(*rc::gen::arbitrary<std::uint32_t>());
    for (const Sample& s : station.samples(4)) {
      if (random() % 10 != 0) kept.push_back(s);
    }
    RC_ASSERT(half_cycles_in(events_of(kept, station.settings())).size() <= 4U);
  }));
}

TEST(State, at_rest_it_is_small) {
  // Thousands of stations are held at once, and each is saved with every batch that changes it.
  Station station;
  State state;
  std::vector<StationEvent> events;
  for (const Sample& s : station.samples(20)) take(state, s, later_by_s(s.time, 0.2), station.settings(), events);
  EXPECT_LT(save(state).size(), 3500U);
}

TEST(State, bytes_that_are_not_a_state_are_refused) {
  // Damaged bytes taken for a state would judge a station by noise.
  const std::string good = save(State{});
  EXPECT_TRUE(load(good));
  EXPECT_FALSE(load(""));
  EXPECT_FALSE(load("nonsense"));
  EXPECT_FALSE(load(good + "x"));
  for (std::size_t n = 0; n + 1 < good.size(); n += 7) EXPECT_FALSE(load(std::string_view(good).substr(0, n)));
}

}  // namespace
}  // namespace driftline::cycles
