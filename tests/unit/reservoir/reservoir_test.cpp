// What the reservoir's judgement must say, and when it must be silent.
#include "rules/reservoir/reservoir.h"

#include <gtest/gtest.h>

#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/array.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/optional.hpp>
#include <sstream>

#include "tests/unit/reservoir/plant.h"

namespace driftline::rules::reservoir {
namespace {

using test::Plant;

std::string bytes_of(const State& state) {
  std::ostringstream out;
  cereal::PortableBinaryOutputArchive archive(out);
  archive(state);
  return out.str();
}

// A coarse, sticking, noisy sensor must not cost the life's accuracy.
TEST(Reservoir, tells_the_life_through_a_sticking_coarse_sensor) {
  for (const double stick : {0.0, 0.5, 1.5, 3.0})
    for (const double quantum : {0.5, 2.0}) {
      Plant plant{.quantum = quantum, .noise = 0.2, .stick = stick};
      plant.run(8);
      EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.3) << stick << " " << quantum;
      EXPECT_NEAR(*plant.life().use_pct_per_day, plant.a_day_pct(), 0.02 * plant.a_day_pct());
    }
}

// Without a design the use is learnt from the level alone.
TEST(Reservoir, learns_the_use_where_the_design_is_unknown) {
  Plant plant{.design_known = false};
  plant.run(8);
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.5);
}

// A refill nobody told of, also a partial one, must not read as less use or as a faulty sensor.
TEST(Reservoir, sees_refills_told_or_not_and_partial_ones) {
  for (const bool told : {false, true})
    for (const double to : {65.0, 75.0, 98.0}) {
      Plant plant{.stick = 3};
      plant.run(5);
      plant.refill(to, told);
      plant.run(3);
      EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.5) << told << " " << to;
      EXPECT_TRUE(plant.raised(Condition::grease_use_shift).empty());
      EXPECT_TRUE(plant.raised(Condition::doubtful_sensor).empty());
    }
}

// A reading that stays while turns use grease must be called that, and the life must go on being told from the turns.
TEST(Reservoir, calls_a_stuck_sensor_stuck_and_counts_on_by_turns) {
  Plant plant{};
  plant.run(5);
  plant.stuck_at = std::round(plant.level);
  plant.run(4);
  const auto found = plant.raised(Condition::doubtful_sensor);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].causes[0].cause, Cause::level_sensor_stuck);
  EXPECT_TRUE(plant.raised(Condition::grease_use_shift).empty());
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.6);
  // A sensor that works again is believed again.
  plant.stuck_at.reset();
  plant.run(1);
  EXPECT_FALSE(plant.holds(Condition::doubtful_sensor));
  EXPECT_NEAR(*plant.life().level_pct, plant.level, 1.5);
}

// 'Empty for good' with turns still reached is the sensor, not the reservoir: nobody is to be sent at night.
TEST(Reservoir, takes_a_sudden_zero_for_the_sensor) {
  Plant plant{};
  plant.run(3);
  plant.stuck_at = 0;
  plant.run(2);
  EXPECT_EQ(plant.raised(Condition::doubtful_sensor).size(), 1u);
  EXPECT_FALSE(plant.holds(Condition::reservoir_low));
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.5);
}

// A leak must be told with its cause, and the life must follow it.
TEST(Reservoir, tells_a_leak_by_mass_balance) {
  Plant plant{};
  plant.run(3);
  EXPECT_TRUE(plant.raised(Condition::grease_use_shift).empty());
  plant.leak_pct_a_day = 4;
  plant.run(3);
  const auto found = plant.raised(Condition::grease_use_shift);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].causes[0].cause, Cause::reservoir_leak);
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.15 * plant.life_days() + 0.3);
  plant.leak_pct_a_day = 0;
  plant.refill(95, true);
  plant.run(5);
  EXPECT_FALSE(plant.holds(Condition::grease_use_shift));
}

// A plant that stands uses nothing: a level that falls all the same leaks, and needs no mass balance to be told.
TEST(Reservoir, tells_a_leak_at_rest) {
  for (const bool designed : {true, false}) {
    Plant plant{.design_known = designed};
    plant.run(6);
    plant.turns_come = false;
    plant.run(3);
    EXPECT_TRUE(plant.raised(Condition::grease_use_shift).empty()) << "nothing leaks yet";
    plant.leak_pct_a_day = 6;
    plant.run(2);
    const auto found = plant.raised(Condition::grease_use_shift);
    ASSERT_EQ(found.size(), 1u);
    EXPECT_EQ(found[0].causes[0].cause, Cause::reservoir_leak);
    EXPECT_GT(found[0].causes[0].weight, 0.9);
    plant.turns_come = true;
    plant.run(2);
    EXPECT_EQ(plant.raised(Condition::grease_use_shift).size(), 1u) << "it goes on leaking: one warning";
    EXPECT_TRUE(plant.holds(Condition::grease_use_shift));
  }
}

// Devices that do not move use less than their charges.
TEST(Reservoir, tells_under_use) {
  Plant plant{};
  plant.run(4);
  plant.use_factor = 0.7;
  plant.run(5);
  ASSERT_EQ(plant.raised(Condition::grease_use_shift).size(), 1u);
  EXPECT_EQ(plant.raised(Condition::grease_use_shift)[0].causes[0].cause, Cause::metering_stuck);
}

// With a switch alone the life comes from the turns counted, and gets better with each fill.
TEST(Reservoir, lives_on_a_switch_and_turns_counted) {
  Plant plant{.sensor = false, .low_switch = true};
  for (int fill = 0; fill < 5; ++fill) {
    while (plant.level > 10) plant.run(0.5);
    EXPECT_TRUE(plant.holds(Condition::reservoir_low));
    plant.refill(91, true);
    plant.run(0.2);
    EXPECT_FALSE(plant.holds(Condition::reservoir_low));
  }
  plant.run(4);
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 1.0);
  EXPECT_LE(*plant.life().days_low, plant.life_days());
  EXPECT_GE(*plant.life().days_high, plant.life_days());
}

// A sensor that fell to zero and stays there must not be believed because turns went unseen, nor because the count grew vague.
TEST(Reservoir, goes_on_doubting_a_sensor_that_stands) {
  Plant plant{};
  plant.run(3);
  plant.stuck_at = 0;
  plant.run(1);
  ASSERT_TRUE(plant.holds(Condition::doubtful_sensor));
  plant.now = later_by_s(plant.now, 4 * plant.turn_s);  // silence
  plant.run(2);
  while (plant.level > 20) plant.run(0.5);
  plant.refill(90, false);
  plant.run(10);
  EXPECT_TRUE(plant.holds(Condition::doubtful_sensor));
  EXPECT_EQ(plant.raised(Condition::doubtful_sensor).size(), 1u);
  EXPECT_TRUE(plant.raised(Condition::reservoir_low).empty());
}

// While the sensor is in doubt a count alone must send nobody out at night; with the low-level switch it must.
TEST(Reservoir, acts_on_a_count_only_where_the_switch_agrees) {
  for (const bool with_switch : {false, true}) {
    Plant plant{.low_switch = with_switch};
    plant.run(3);
    plant.stuck_at = 70;
    while (plant.level > 3.5) plant.run(0.25);
    bool acted = false;
    for (const Output& output : plant.said)
      if (const auto* f = std::get_if<Finding>(&output); f && f->holds) acted |= f->urgency == Urgency::act;
    EXPECT_EQ(acted, with_switch);
  }
}

// Nobody noted the refill and nothing reads the level: that the switch stays open, or turns are reached past the empty mark,
// must tell of it, or a full reservoir is called empty for weeks.
TEST(Reservoir, infers_a_refill_that_nobody_noted) {
  for (const bool with_switch : {false, true}) {
    Plant plant{.low_switch = with_switch};
    for (int i = 0; i < 2; ++i) {  // the sensor sees what people do here
      while (plant.level > 25) plant.run(0.5);
      plant.refill(88, false);
      plant.run(1);
    }
    plant.stuck_at = 85;
    while (plant.level > 25) plant.run(0.5);
    plant.refill(88, false);
    plant.run(8);
    EXPECT_NEAR(*plant.life().level_pct, plant.level, 18) << with_switch;
    EXPECT_LE(*plant.life().days_low, plant.life_days());
  }
}

// A switch that is open contradicts a level a little under its mark; and half a refill must not look like a low level.
TEST(Reservoir, believes_the_open_switch_at_the_mark) {
  Plant with{.low_switch = true, .seed = 4};
  while (with.level > 12.9) with.run(0.05);
  EXPECT_TRUE(with.raised(Condition::reservoir_low).empty());
  with.run(0.5);
  EXPECT_TRUE(with.holds(Condition::reservoir_low));
}

// After a repair the life must not go by what leaked before it.
TEST(Reservoir, goes_back_to_the_usual_use_after_a_repair) {
  Plant plant{};
  plant.run(3);
  plant.leak_pct_a_day = 6;
  plant.run(3);
  plant.leak_pct_a_day = 0;
  plant.refill(92, true);
  plant.note(ServiceKind::repaired);
  plant.run(0.1);
  EXPECT_TRUE(plant.life().days);
  plant.run(0.9);
  EXPECT_NEAR(*plant.life().days, plant.life_days(), 0.2 * plant.life_days());
}

// A reading that cannot be is no level, and one that comes back to its senses is.
TEST(Reservoir, takes_no_level_from_a_reading_that_cannot_be) {
  Plant plant{};
  plant.run(3);
  const double before = *plant.life().level_pct;
  plant.stuck_at = 250;
  plant.run(0.5);
  EXPECT_TRUE(plant.holds(Condition::doubtful_sensor));
  EXPECT_NEAR(*plant.life().level_pct, plant.level, 2) << before;
  plant.stuck_at.reset();
  plant.run(0.5);
  EXPECT_FALSE(plant.holds(Condition::doubtful_sensor));
  EXPECT_NEAR(*plant.life().level_pct, plant.level, 2);
}

// Where nothing is known nothing is said; a note of a refill starts the count.
TEST(Reservoir, says_unknown_where_nothing_reads_the_level_until_someone_tells_a_refill) {
  Plant plant{.sensor = false};
  plant.run(3);
  for (const auto& row : plant.days()) EXPECT_FALSE(row.level_pct || row.life_days);
  EXPECT_TRUE(plant.raised(Condition::short_reservoir_life).empty());
  plant.refill(90, true);
  plant.run(2);
  ASSERT_TRUE(plant.life().days);
  EXPECT_LE(*plant.life().days_low, plant.life_days());
  EXPECT_GE(*plant.life().days_high, plant.life_days());
}

// The warning comes once on the way down and goes once with the refill, however the reading trembles.
TEST(Reservoir, does_not_flap_at_its_thresholds) {
  Plant plant{.charges_cm3 = 20, .quantum = 1, .noise = 0.5};
  plant.level = plant.held = 95;
  plant.run(30);
  EXPECT_EQ(plant.raised(Condition::short_reservoir_life).size(), 1u);
  EXPECT_LE(plant.raised(Condition::reservoir_low).size(), 1u);
  plant.refill(96, false);
  plant.run(1);
  EXPECT_FALSE(plant.holds(Condition::short_reservoir_life));
  EXPECT_FALSE(plant.holds(Condition::reservoir_low));
}

// Notice at two weeks and not before; plan within a week; act within two days.
TEST(Reservoir, raises_urgency_as_the_life_shrinks) {
  Plant plant{.charges_cm3 = 20};
  plant.level = plant.held = 95;
  std::optional<double> notice_at, plan_at, act_at;
  while (plant.level > 4) {
    const std::size_t before = plant.said.size();
    plant.run(0.25);
    for (std::size_t i = before; i < plant.said.size(); ++i)
      if (const auto* f = std::get_if<Finding>(&plant.said[i]); f && f->condition == Condition::short_reservoir_life && f->holds) {
        if (!notice_at) notice_at = plant.life_days();
        if (f->urgency >= Urgency::plan && !plan_at) plan_at = plant.life_days();
        if (f->urgency == Urgency::act && !act_at) act_at = plant.life_days();
      }
  }
  ASSERT_TRUE(notice_at && plan_at && act_at);
  EXPECT_LE(*notice_at, 14.1);
  EXPECT_GE(*notice_at, 12.0);
  EXPECT_NEAR(*plan_at, 7, 0.7);
  EXPECT_NEAR(*act_at, 2, 0.6);
}

// Reconstruction may tell a turn at its end or when the next begins: the rows must say the same.
TEST(Reservoir, does_not_mind_when_a_turn_is_told) {
  Plant prompt{.stick = 0}, late{.stick = 0, .turns_told_late = true};
  prompt.run(6);
  late.run(6);
  const auto a = prompt.days(), b = late.days();
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 1; i < a.size(); ++i) EXPECT_NEAR(*a[i].life_days, *b[i].life_days, 0.12);
}

// One row a day, each for its own day, also through a silence.
TEST(Reservoir, writes_one_row_a_day) {
  Plant plant{};
  plant.run(3.5);
  plant.now = later_by_days(plant.now, 4);
  plant.run(1);
  const auto rows = plant.days();
  ASSERT_GE(rows.size(), 7u);
  for (std::size_t i = 0; i < rows.size(); ++i) EXPECT_EQ(rows[i].date, time_from_ms(1'772'323'200'000) + std::chrono::days{i});
}

// A silent station's day must be told too, and telling it late or often must not change it.
TEST(Reservoir, tells_the_day_of_a_silent_station_once) {
  Plant plant{};
  plant.run(2.5);
  const StationDesign design = plant.design();
  const Context context{plant.id, design, plant.thresholds};
  State often = plant.state, seldom = plant.state;
  std::vector<Output> by_often, by_seldom;
  for (int hour = 0; hour < 60; ++hour) advance_to(often, later_by_s(plant.now, 3600.0 * hour), context, by_often);
  advance_to(seldom, later_by_s(plant.now, 3600.0 * 59), context, by_seldom);
  EXPECT_EQ(by_often, by_seldom);
  EXPECT_EQ(often, seldom);
  EXPECT_FALSE(by_often.empty());
}

// A restart in the middle must change nothing.
TEST(Reservoir, goes_on_from_its_saved_state) {
  Plant plant{.low_switch = true, .stick = 3};
  plant.run(4.3);
  const std::string bytes = bytes_of(plant.state);
  State loaded;
  {
    std::istringstream in(bytes);
    cereal::PortableBinaryInputArchive archive(in);
    archive(loaded);
  }
  EXPECT_EQ(loaded, plant.state);
  Plant other = plant;
  other.state = loaded;
  plant.run(3);
  other.run(3);
  EXPECT_EQ(plant.said, other.said);
}

// Bytes of a station are a budget; raising them is a decision.
TEST(Reservoir, fits_its_bytes) {
  Plant plant{.low_switch = true};
  plant.run(5);
  EXPECT_LE(sizeof(State), 1280u);
  EXPECT_LE(bytes_of(plant.state).size(), 1280u);
}

// Samples that are older than what is known, or doubled, change nothing.
TEST(Reservoir, is_deaf_to_old_and_doubled_events) {
  Plant plant{};
  plant.run(2);
  const StationDesign design = plant.design();
  const Context context{plant.id, design, plant.thresholds};
  const State before = plant.state;
  const std::size_t said = plant.said.size();
  HalfCycle old;
  old.pump_start = later_by_days(plant.now, -1);
  old.pump_stop = later_by_s(old.pump_start, 60);
  old.outcome = Outcome::reached;
  take(plant.state, old, plant.now, context, plant.said);
  LevelReading reading;
  reading.time = later_by_days(plant.now, -0.5);
  reading.level_pct = 5;
  take(plant.state, reading, plant.now, context, plant.said);
  EXPECT_EQ(plant.state, before);
  EXPECT_EQ(plant.said.size(), said);
}

}  // namespace
}  // namespace driftline::rules::reservoir
