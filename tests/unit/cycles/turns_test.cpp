// Turns of an invented station, of which every figure is known.
#include <gtest/gtest.h>

#include "tests/unit/cycles/invented_station.h"

namespace driftline::cycles {
namespace {

void expect_all_told(const Station& station, int turns, double slack_s) {
  const auto told = half_cycles_of(station, turns);
  ASSERT_EQ(told.size(), static_cast<std::size_t>(turns));
  for (int n = 0; n < turns; ++n) {
    const HalfCycle& half = told[static_cast<std::size_t>(n)];
    const InventedTurn truth = station.turn(n);
    EXPECT_EQ(half.line, truth.line) << n;
    EXPECT_EQ(half.outcome, Outcome::reached) << n;
    ASSERT_TRUE(half.time_to_pressure_s) << n;
    EXPECT_NEAR(*half.time_to_pressure_s, *truth.met_s, slack_s) << n;
    EXPECT_NEAR(seconds_between(station.at(truth.start_s), half.pump_start), 0, slack_s) << n;
  }
}

TEST(Turns, every_turn_is_told_once_at_each_rate) {
  // A turn lost, doubled or misread at some rate of the contract.
  for (const double fast_s : {0.1, 0.5, 1.0, 2.0, 5.0}) {
    SCOPED_TRACE(fast_s);
    Station station;
    station.fast_s = fast_s;
    expect_all_told(station, 12, 0.6 * fast_s + 0.15);
  }
}

TEST(Turns, a_station_that_samples_at_one_rate_throughout_is_read_as_well) {
  // Without a change of rate the run's edges show in the flag alone.
  Station station;
  station.rest_s = 1;
  expect_all_told(station, 6, 0.8);
}

TEST(Turns, pressure_forced_in_after_the_last_sample_at_rest_shows_at_the_pump_s_start) {
  // The line would be told as empty, and its short turn as nobody's doing.
  constexpr int forced = 10;
  Station station;
  station.fast_s = 2;
  station.says_seq = false;
  std::vector<Sample> samples = station.samples(20);
  for (int n = 0; n < 20; ++n) {
    const InventedTurn truth = station.turn(n);
    Sample start;  // this sender adds one at the pump's start
    start.time = station.at(truth.start_s + 0.05);
    start.pump = true;
    start.line = truth.line;
    for (int line = 1; line <= station.lines; ++line) start.pressure.append(n == forced && line == truth.line ? 22.0 : Station::residual_bar);
    samples.insert(std::upper_bound(samples.begin(), samples.end(), start, [](const Sample& a, const Sample& b) { return a.time < b.time; }), start);
  }
  const auto told = half_cycles_in(events_of(samples, station.settings()));
  ASSERT_EQ(told.size(), 20U);
  for (int n = 0; n < 20; ++n) {
    const HalfCycle& half = told[static_cast<std::size_t>(n)];
    ASSERT_TRUE(half.residual_bar) << n;
    EXPECT_NEAR(*half.residual_bar, n == forced ? 22.0 : Station::residual_bar, 1.0) << n;
  }
}

TEST(Turns, without_a_pump_flag_the_rate_and_the_rise_tell_the_start) {
  // The soft start hides it: a reading of the steep part alone is seconds late.
  for (const bool says_line : {true, false}) {
    SCOPED_TRACE(says_line);
    Station station;
    station.says_pump = false;
    station.says_line = says_line;
    station.fast_s = 2;
    expect_all_told(station, 12, 3.0);
  }
}

TEST(Turns, one_line_and_eight_lines_are_told_apart_by_their_rise) {
  // A station whose controller does not name the line would have all turns on line 1.
  for (const int lines : {1, 3, 8}) {
    SCOPED_TRACE(lines);
    Station station;
    station.lines = lines;
    station.says_line = false;
    station.cycle_s = 600.0 * lines;
    expect_all_told(station, 10, 0.8);
  }
}

TEST(Turns, the_figures_are_those_of_the_curve) {
  // A figure read from the wrong sample.
  const Station station;
  const auto told = half_cycles_of(station, 8);
  ASSERT_EQ(told.size(), 8U);
  const HalfCycle& half = told[5];
  EXPECT_NEAR(half.residual_bar.value_or(-1), Station::residual_bar, 0.3);
  EXPECT_NEAR(half.peak_bar.value_or(-1), 201.0, 1.0);
  EXPECT_NEAR(half.pump_run_s.value_or(-1), station.turn(5).pump_s, 0.8);
  EXPECT_NEAR(half.vent_s.value_or(-1), 8.0 * std::log((201.0 - 1.5) / 6.5), 0.8);
  EXPECT_EQ(half.level_pct, 60);
  EXPECT_EQ(half.temp_c, 11.5);
  EXPECT_NEAR(half.samples, 90, 1);
  EXPECT_NEAR(half.largest_gap_s.value_or(-1), 1.0, 0.01);
  EXPECT_FALSE(half.off_schedule);
  EXPECT_EQ(half.arrival, Arrival::live);
  EXPECT_NEAR(half.others_stop_bar[0].value_or(-1), Station::residual_bar, 1.0);
  EXPECT_NEAR(half.others_start_bar[1].value_or(-1), Station::residual_bar, 0.3);
}

TEST(Turns, the_shape_of_the_rise_has_its_plateau_and_its_steep_end) {
  // Diagnosis reads causes from the plateau; one found in the wrong place names the wrong cause.
  const auto told = half_cycles_of(Station{}, 6);
  ASSERT_EQ(told.size(), 6U);
  const RiseShape& shape = told[4].shape;
  EXPECT_NEAR(shape.plateau_start_s.value_or(-1), 20, 4);
  EXPECT_NEAR(shape.plateau_s.value_or(-1), 40, 5);
  EXPECT_NEAR(shape.plateau_bar.value_or(-1), 71.5, 4);
  EXPECT_NEAR(shape.steep_bar_per_s.value_or(-1), 4, 0.4);
  EXPECT_NEAR(shape.run_on_s.value_or(-1), 2.5, 0.7);
  ASSERT_LE(shape.curve.size(), curve_points_max);
  ASSERT_GE(shape.curve.size(), 20U);
  EXPECT_EQ(shape.curve.front().after_s, 0);
  EXPECT_NEAR(shape.curve.back().after_s, told[4].time_to_pressure_s.value_or(-1), 0.01);
}

TEST(Turns, a_pump_that_runs_to_its_limit_did_not_reach) {
  // 'interrupted' would hide a line that leaks.
  for (const bool says_pump : {true, false}) {
    SCOPED_TRACE(says_pump);
    Station station;
    station.pace = 0.9;
    station.says_pump = says_pump;
    const auto told = half_cycles_of(station, 6);
    ASSERT_EQ(told.size(), 6U);
    for (const HalfCycle& half : told) {
      EXPECT_EQ(half.outcome, Outcome::not_reached);
      EXPECT_FALSE(half.time_to_pressure_s);
      EXPECT_NEAR(half.pump_run_s.value_or(-1), 150, 1.5);
    }
  }
}

TEST(Turns, a_pump_stopped_before_both_target_and_limit_was_interrupted) {
  // 'not-reached' would warn of a leak that is none.
  Station station;
  station.stopped_after_s = 45;
  const auto told = half_cycles_of(station, 4);
  ASSERT_EQ(told.size(), 4U);
  for (const HalfCycle& half : told) EXPECT_EQ(half.outcome, Outcome::interrupted);
}

TEST(Turns, a_resting_station_has_no_turns) {
  // Noise and a push from outside made into a turn would be an invented one.
  Station station;
  station.says_pump = false;
  auto samples = station.samples(3);
  std::erase_if(samples, [&](const Sample& s) { return s.time > station.at(95); });
  for (int n = 0; n < 200; ++n) {
    Sample sample = samples.back();
    sample.time += std::chrono::seconds{60};
    sample.seq = *sample.seq + 1;
    sample.pressure = {};
    sample.pressure.append(1.5 + 0.1 * (n % 5) + (n == 100 ? 12.0 : 0.0));
    sample.pressure.append(1.4);
    samples.push_back(sample);
  }
  EXPECT_TRUE(half_cycles_in(events_of(samples, station.settings())).empty());
}

TEST(Turns, a_turn_by_hand_between_two_due_ones_is_off_schedule) {
  // A manual start counted as due would make the next one look missed.
  Station station;
  const double extra = station.turn(3).start_s + 300;
  auto samples = station.samples(6);
  std::vector<Sample> by_hand;
  Station same = station;
  for (Sample s : same.samples(2)) {
    const double after = seconds_between(station.at(station.turn(0).start_s), s.time);
    if (after < -0.5 || after > 160) continue;
    s.time = later_by_s(station.at(extra), after);
    by_hand.push_back(s);
  }
  std::erase_if(samples, [&](const Sample& s) { return s.time >= by_hand.front().time && s.time <= by_hand.back().time; });
  samples.insert(samples.end(), by_hand.begin(), by_hand.end());
  std::sort(samples.begin(), samples.end(), [](const Sample& a, const Sample& b) { return a.time < b.time; });
  for (std::size_t i = 0; i < samples.size(); ++i) samples[i].seq = i;
  const auto told = half_cycles_in(events_of(samples, station.settings()));
  ASSERT_EQ(told.size(), 7U);
  for (std::size_t i = 0; i < told.size(); ++i) EXPECT_EQ(told[i].off_schedule, i == 4) << i;
}

TEST(Turns, a_turn_is_told_while_the_station_rests) {
  // A turn kept back until the next sample half an hour later makes its warning late.
  Station station;
  station.tail_s = 0;
  station.rest_s = 1800;
  station.cycle_s = 7200;
  State state;
  std::vector<StationEvent> events;
  const InventedTurn first = station.turn(0);
  for (const Sample& sample : station.samples(1)) {
    if (sample.time > station.at(first.start_s + first.pump_s + 2)) break;
    take(state, sample, later_by_s(sample.time, 0.2), station.settings(), events);
  }
  for (int i = 0; i < 10; ++i) {
    const auto wake = wake_at(state);
    if (!wake || *wake > station.at(first.start_s + first.pump_s + 400)) break;
    advance_to(state, *wake, station.settings(), events);
  }
  EXPECT_EQ(half_cycles_in(events).size(), 0U) << "still pumping as far as the samples tell";
  Sample rest;
  rest.time = station.at(first.start_s + first.pump_s + 1);
  rest.pump = false;
  rest.seq = 100'000;
  rest.pressure.append(180);
  rest.pressure.append(1.5);
  take(state, rest, later_by_s(rest.time, 500), station.settings(), events);
  for (int i = 0; i < 10; ++i) {
    if (const auto wake = wake_at(state)) advance_to(state, *wake, station.settings(), events);
  }
  EXPECT_EQ(half_cycles_in(events).size(), 1U);
}

TEST(Turns, end_when_the_changeover_goes_on_though_the_pressure_still_reads_higher) {
  // A run would go on into the next turns: theirs would be missing, and it would be called not-reached.
  for (double phase_s = 0; phase_s < 5; phase_s += 0.5) {
    Station station;
    station.says_pump = false;
    station.fast_s = 5;
    station.tail_s = 10;
    station.rest_s = 120;
    station.phase_s = phase_s;
    auto samples = station.samples(8);
    for (int n = 0; n < 8; ++n) {
      const InventedTurn of = station.turn(n);
      for (Sample& sample : samples)
        if (sample.time >= station.at(of.start_s + of.pump_s) && sample.time < station.at(station.turn(n + 1).start_s))
          sample.line = station.turn(n + 1).line;
    }
    const auto told = half_cycles_in(events_of(samples, station.settings()));
    ASSERT_EQ(told.size(), 8U) << phase_s;
    for (int n = 0; n < 8; ++n) EXPECT_EQ(told[static_cast<std::size_t>(n)].line, station.turn(n).line) << phase_s << " " << n;
  }
}

TEST(Turns, without_a_pump_flag_the_fast_rate_marks_a_start_that_no_gauge_shows) {
  // The time to pressure would be short by all the seconds until the grease moves at the gauge.
  for (const double rest_s : {60.0, 300.0, 600.0}) {
    Station station;
    station.fast_s = 0.1;
    station.rest_s = rest_s;
    station.cycle_s = 2400;
    station.says_pump = false;
    station.says_line = false;
    station.silent_s = 9;
    const auto told = half_cycles_of(station, 4);
    ASSERT_EQ(told.size(), 4U);
    for (std::size_t n = 1; n < told.size(); ++n) {
      ASSERT_TRUE(told[n].time_to_pressure_s);
      EXPECT_NEAR(*told[n].time_to_pressure_s, *station.turn(static_cast<int>(n)).met_s, 0.15);
    }
  }
}

TEST(Turns, without_a_pump_flag_the_changeover_marks_a_start_that_no_gauge_shows) {
  // The same where the sender has one rate.
  Station station;
  station.fast_s = 0.1;
  station.rest_s = 0.1;
  station.says_pump = false;
  station.silent_s = 9;
  const auto told = half_cycles_of(station, 3);
  ASSERT_EQ(told.size(), 3U);
  for (std::size_t n = 1; n < told.size(); ++n) {
    ASSERT_TRUE(told[n].time_to_pressure_s);
    EXPECT_NEAR(*told[n].time_to_pressure_s, *station.turn(static_cast<int>(n)).met_s, 0.15);
  }
}

TEST(Turns, dense_noise_at_rest_is_no_turn) {
  // Of ten samples a second over an hour one lies far off: a turn that begins with it is told for that hour.
  Station station;
  station.fast_s = 0.1;
  station.rest_s = 0.1;
  station.says_pump = false;
  station.says_line = false;
  station.noise_bar = 0.45;
  station.cycle_s = 7200;
  const auto told = half_cycles_of(station, 2);
  ASSERT_EQ(told.size(), 2U);
  for (const HalfCycle& half : told) EXPECT_LT(half.pump_run_s.value_or(1e9), 130);
}

TEST(Turns, a_vent_whose_end_no_sample_shows_is_carried_on_or_unknown) {
  // A vent time from one second of noise would warn of a restricted vent that is in order.
  Station station;
  station.fast_s = 0.1;
  station.rest_s = 300;
  station.tail_s = 30;
  station.vent_constant_s = 12;
  const double vent_s = 12 * std::log((200 - station.residual_bar) / (8 - station.residual_bar));
  for (const HalfCycle& half : half_cycles_of(station, 6)) {
    ASSERT_TRUE(half.vent_s);
    EXPECT_NEAR(*half.vent_s, vent_s, 0.1 * vent_s);
  }
  station.tail_s = 1;  // nearly all of the fall is unseen
  for (const HalfCycle& half : half_cycles_of(station, 6)) {
    if (half.vent_s) {
      EXPECT_NEAR(*half.vent_s, vent_s, 0.2 * vent_s);
    }
  }
}

TEST(Turns, a_noisy_sample_at_rest_a_minute_before_is_not_the_start) {
  // One turn in some hundred would take a minute longer than it did, and somebody would be sent out for it.
  for (double phase_s = 0; phase_s < 5; phase_s += 0.5) {
    Station station;
    station.says_pump = false;
    station.fast_s = 5;
    station.rest_s = 120;
    station.phase_s = phase_s;
    auto samples = station.samples(8);
    for (int n = 1; n < 8; ++n) {
      const InventedTurn of = station.turn(n);
      const Time stopped = station.at(station.turn(n - 1).start_s + station.turn(n - 1).pump_s);
      Sample* last = nullptr;
      for (Sample& sample : samples) {
        if (sample.time < stopped || sample.time >= station.at(of.start_s)) continue;
        sample.line = of.line;  // the changeover goes on at the stop
        last = &sample;
      }
      ASSERT_NE(last, nullptr);
      last->time = station.at(of.start_s - 55);
      Pressures noisy;
      for (int line = 1; line <= 2; ++line) noisy.append(last->pressure.of_line(line).value() + (line == of.line ? 0.9 : 0.0));
      last->pressure = noisy;
    }
    const auto told = half_cycles_in(events_of(samples, station.settings()));
    ASSERT_EQ(told.size(), 8U) << phase_s;
    for (int n = 1; n < 8; ++n) {
      ASSERT_TRUE(told[static_cast<std::size_t>(n)].time_to_pressure_s) << phase_s << " " << n;
      EXPECT_NEAR(*told[static_cast<std::size_t>(n)].time_to_pressure_s, *station.turn(n).met_s, 10) << phase_s << " " << n;
    }
  }
}

}  // namespace
}  // namespace driftline::cycles
