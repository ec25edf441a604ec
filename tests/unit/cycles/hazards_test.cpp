// What goes wrong between a controller and the gateway.
#include <gtest/gtest.h>

#include "tests/unit/cycles/invented_station.h"

namespace driftline::cycles {
namespace {

struct Arriving {
  Sample sample;
  Time received{};
};

std::vector<Arriving> as_measured(const std::vector<Sample>& samples) {
  std::vector<Arriving> out;
  for (const Sample& sample : samples) out.push_back({sample, later_by_s(sample.time, 0.2)});
  return out;
}

std::vector<HalfCycle> told_of(std::vector<Arriving> arriving, const ControllerSettings& settings) {
  std::stable_sort(arriving.begin(), arriving.end(), [](const Arriving& a, const Arriving& b) { return a.received < b.received; });
  State state;
  std::vector<StationEvent> events;
  for (const Arriving& a : arriving) take(state, a.sample, a.received, settings, events);
  finish(state, settings, events);
  return half_cycles_in(events);
}

// In the order in which they were told.
void expect_each_once(const Station& station, const std::vector<HalfCycle>& told, int turns, double slack_s = 0.8) {
  ASSERT_EQ(told.size(), static_cast<std::size_t>(turns));
  for (int n = 0; n < turns; ++n) {
    const HalfCycle& half = told[static_cast<std::size_t>(n)];
    EXPECT_EQ(half.outcome, Outcome::reached) << n;
    EXPECT_EQ(half.line, station.turn(n).line) << n;
    ASSERT_TRUE(half.time_to_pressure_s) << n;
    EXPECT_NEAR(*half.time_to_pressure_s, *station.turn(n).met_s, slack_s) << n;
  }
}

TEST(LateData, a_batch_after_an_outage_is_read_as_if_it_had_come_in_time) {
  // Hours of turns would be missing after every link outage.
  const Station station;
  auto arriving = as_measured(station.samples(12));
  const double from = station.turn(3).start_s + 40;
  const double to = station.turn(8).start_s + 30;
  for (Arriving& a : arriving) {
    if (a.sample.time >= station.at(from) && a.sample.time < station.at(to)) a.received = later_by_s(station.at(to), 0.1);
  }
  const auto told = told_of(arriving, station.settings());
  expect_each_once(station, told, 12);
  // The last of the turns in the batch came within seconds of its end: that is no lateness.
  EXPECT_EQ(std::count_if(told.begin(), told.end(), [](const HalfCycle& h) { return h.arrival == Arrival::late; }), 5);
}

// Live data first, older data behind it, beside live samples.
std::vector<Arriving> backfilled(const Station& station, int turns, double from, double to, double sent_after) {
  auto arriving = as_measured(station.samples(turns));
  int n = 0;
  for (Arriving& a : arriving) {
    if (a.sample.time < station.at(from) || a.sample.time >= station.at(to)) continue;
    a.received = later_by_s(station.at(to + sent_after), 0.05 * (n++ / 10));
  }
  return arriving;
}

TEST(LateData, backfill_behind_live_data_gives_each_turn_once) {
  // A turn where the lanes meet would be doubled, split or lost: cut by the hole at its start, its end, or both.
  for (const double cut_from : {40.0, 95.0, 400.0}) {
    for (const double cut_to : {30.0, 120.0, 350.0}) {
      for (const bool says_seq : {true, false}) {
        SCOPED_TRACE(testing::Message() << cut_from << " " << cut_to << " " << says_seq);
        Station station;
        station.says_seq = says_seq;
        const auto arriving = backfilled(station, 12, station.turn(4).start_s + cut_from, station.turn(7).start_s + cut_to, 1700);
        auto told = told_of(arriving, station.settings());
        std::sort(told.begin(), told.end(), [](const HalfCycle& a, const HalfCycle& b) { return a.pump_start < b.pump_start; });
        expect_each_once(station, told, 12);
      }
    }
  }
}

TEST(LateData, a_turn_cut_by_an_outage_that_nothing_fills_is_told_once_and_not_as_known) {
  // Lost data must not become a time to pressure.
  const Station station;
  auto arriving = as_measured(station.samples(8));
  std::erase_if(arriving, [&](const Arriving& a) {
    return a.sample.time >= station.at(station.turn(3).start_s + 40) && a.sample.time < station.at(station.turn(3).start_s + 400);
  });
  const auto told = told_of(arriving, station.settings());
  ASSERT_EQ(told.size(), 8U);
  EXPECT_EQ(std::count_if(told.begin(), told.end(), [](const HalfCycle& h) { return h.outcome == Outcome::reached; }), 7);
  EXPECT_EQ(std::count_if(told.begin(), told.end(), [](const HalfCycle& h) { return h.outcome == Outcome::unclear; }), 1);
}

TEST(Outage, a_short_gap_within_a_run_leaves_it_one_turn) {
  // Two halves of one turn would each look like a fault.
  const Station station;
  auto arriving = as_measured(station.samples(6));
  std::erase_if(arriving, [&](const Arriving& a) {
    return a.sample.time >= station.at(station.turn(2).start_s + 20) && a.sample.time < station.at(station.turn(2).start_s + 60);
  });
  const auto told = told_of(arriving, station.settings());
  expect_each_once(station, told, 6);
  EXPECT_NEAR(told[2].largest_gap_s.value_or(0), 41, 1.1);
}

TEST(PowerCut, in_mid_turn_interrupts_it) {
  // A cut called 'not-reached' would blame the line; the turn after it must not be joined to it.
  const Station station;
  auto samples = station.samples(6);
  const Time cut = station.at(station.turn(2).start_s + 50);
  std::erase_if(samples, [&](const Sample& s) { return s.time >= cut && s.time < later_by_s(cut, 300); });
  std::uint64_t seq = 0;
  for (Sample& s : samples) {
    if (s.time >= cut) s.seq = seq++;
  }
  const auto told = half_cycles_in(events_of(samples, station.settings()));
  ASSERT_EQ(told.size(), 6U);
  EXPECT_EQ(told[2].outcome, Outcome::interrupted);
  EXPECT_FALSE(told[2].time_to_pressure_s);
  EXPECT_EQ(told[3].outcome, Outcome::reached);
}

std::vector<Arriving> stepped(const Station& station, int turns, double when, double by) {
  auto arriving = as_measured(station.samples(turns));
  for (Arriving& a : arriving) {
    if (a.sample.time >= station.at(when)) a.sample.time = later_by_s(a.sample.time, by);
  }
  return arriving;
}

TEST(Clock, a_step_at_rest_loses_and_doubles_nothing) {
  // Samples of a clock set back look like old data; those of one set forward leave a hole.
  for (const double by : {-3600.0, -400.0, -45.0, -5.0, 5.0, 90.0, 3600.0, 90'000.0}) {
    for (const bool says_seq : {true, false}) {
      SCOPED_TRACE(testing::Message() << by << " " << says_seq);
      Station station;
      station.says_seq = says_seq;
      const auto told = told_of(stepped(station, 8, station.turn(3).start_s + 400, by), station.settings());
      expect_each_once(station, told, 8);
    }
  }
}

TEST(Clock, a_step_in_mid_turn_is_marked_and_does_not_bend_the_time) {
  // An hour's step would make a time to pressure of an hour, or a negative one.
  for (const double by : {-3600.0, -45.0, 45.0, 3600.0}) {
    SCOPED_TRACE(by);
    const Station station;
    const auto told = told_of(stepped(station, 8, station.turn(3).start_s + 40, by), station.settings());
    ASSERT_EQ(told.size(), 8U);
    EXPECT_TRUE(told[3].clock_stepped);
    EXPECT_NEAR(told[3].time_to_pressure_s.value_or(-1), *station.turn(3).met_s, 1.5);
    EXPECT_NEAR(seconds_between(station.at(station.turn(3).start_s), told[3].pump_start), 0, 1.0);
    EXPECT_FALSE(told[4].clock_stepped);
  }
}

TEST(Clock, one_wrong_for_good_changes_only_the_stamps) {
  // Some controllers run hours off; their lag is no lateness.
  Station station;
  auto arriving = as_measured(station.samples(6));
  for (Arriving& a : arriving) a.received = later_by_s(a.received, 5 * 3600.0);
  const auto told = told_of(arriving, station.settings());
  expect_each_once(station, told, 6);
  for (const HalfCycle& half : told) EXPECT_EQ(half.arrival, Arrival::live);
}

TEST(Clock, a_single_nonsense_time_stops_nothing) {
  // One sample of the year 2099 would push the watermark past all that follows.
  for (const double by : {-1e9, -7200.0, 7200.0, 1e9}) {
    SCOPED_TRACE(by);
    const Station station;
    auto arriving = as_measured(station.samples(8));
    const auto middle = static_cast<std::ptrdiff_t>(arriving.size() / 2);
    Arriving odd = arriving[static_cast<std::size_t>(middle)];
    odd.sample.time = later_by_s(odd.sample.time, by);
    odd.sample.seq.reset();
    arriving.insert(arriving.begin() + middle, odd);
    expect_each_once(station, told_of(arriving, station.settings()), 8);
  }
}

TEST(Gauges, one_that_gives_nothing_is_reported_and_its_turns_are_not_invented) {
  // A dead gauge read as 0 bar would be a broken line.
  const Station station;
  auto samples = station.samples(8);
  for (Sample& s : samples) {
    if (s.time >= station.at(station.turn(4).start_s - 100)) s.pressure.given = static_cast<std::uint8_t>(s.pressure.given & ~1U);
  }
  const auto events = events_of(samples, station.settings());
  int missing = 0;
  for (const StationEvent& event : events) {
    if (const auto* report = std::get_if<SensorReport>(&event)) {
      EXPECT_EQ(report->line, 1);
      EXPECT_EQ(report->trouble, SensorTrouble::missing);
      ++missing;
    }
  }
  EXPECT_EQ(missing, 1);
  for (const HalfCycle& half : half_cycles_in(events)) {
    const bool dead = half.line == 1 && half.pump_start > station.at(station.turn(4).start_s - 50);
    EXPECT_EQ(half.outcome, dead ? Outcome::unclear : Outcome::reached);
    if (dead) {
      EXPECT_FALSE(half.peak_bar);
    }
  }
}

TEST(Gauges, a_value_that_cannot_be_is_left_out) {
  // 9999 bar, as some inputs give for a broken wire, would be the peak.
  const Station station;
  auto samples = station.samples(6);
  Sample odd = samples[samples.size() / 2];
  odd.pressure.bar.fill(9999);
  samples.insert(samples.begin() + static_cast<std::ptrdiff_t>(samples.size() / 2), odd);
  const auto told = half_cycles_in(events_of(samples, station.settings()));
  expect_each_once(station, told, 6);
  for (const HalfCycle& half : told) EXPECT_LT(half.peak_bar.value_or(0), 205);
}

TEST(Settings, a_target_changed_while_running_counts_from_the_next_turn) {
  // Half a turn judged by another target would be neither reached nor not.
  const Station station;
  State state;
  std::vector<StationEvent> events;
  ControllerSettings lower = station.settings();
  lower.target_bar = 150;
  bool announced = false;
  for (const Sample& sample : station.samples(6)) {
    if (!announced && sample.time > station.at(station.turn(5).start_s - 200)) {
      take(state, lower, sample.time, station.settings(), events);
      announced = true;
    }
    take(state, sample, later_by_s(sample.time, 0.2), station.settings(), events);
  }
  finish(state, station.settings(), events);
  const auto told = half_cycles_in(events);
  ASSERT_EQ(told.size(), 6U);
  EXPECT_EQ(told[4].settings.target_bar, 200);
  EXPECT_EQ(told[5].settings.target_bar, 150);
  const auto changes = std::count_if(events.begin(), events.end(), [](const StationEvent& e) { return std::holds_alternative<SettingsChange>(e); });
  EXPECT_EQ(changes, 1);
}

TEST(LateData, what_comes_behind_every_window_is_counted) {
  // A sample that is neither used nor counted is lost in silence.
  const Station station;
  const auto samples = station.samples(6);
  State state;
  std::vector<StationEvent> events;
  for (const Sample& sample : samples) take(state, sample, later_by_s(sample.time, 0.2), station.settings(), events);
  EXPECT_EQ(counted(state).behind, 0U);
  const Time now = later_by_s(samples.back().time, 1);
  for (std::size_t i = 100; i < 110; ++i) take(state, samples[i], now, station.settings(), events);
  Sample next = samples.back();
  next.time = later_by_s(now, 60);
  next.seq = *next.seq + 1;
  take(state, next, later_by_s(next.time, 0.2), station.settings(), events);
  EXPECT_EQ(counted(state).behind, 10U);
}

}  // namespace
}  // namespace driftline::cycles
