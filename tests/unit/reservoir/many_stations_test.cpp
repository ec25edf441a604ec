// Many invented stations: how often a healthy one is accused, and how honest the interval is.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "tests/unit/reservoir/plant.h"

namespace driftline::rules::reservoir {
namespace {

using test::Plant;

Plant station_of(unsigned seed) {
  std::mt19937 random(seed);
  const auto pick = [&random](auto... values) {
    const double all[] = {static_cast<double>(values)...};
    return all[random() % sizeof...(values)];
  };
  Plant plant;
  plant.seed = seed;
  plant.random.seed(seed + 1000);
  plant.turn_s = pick(1800, 3600, 7200, 10800);
  plant.lines = static_cast<int>(pick(1, 2, 2, 4));
  plant.charges_cm3 = pick(1.5, 3, 6, 9) * plant.turn_s / 86400 * plant.reservoir_kg / 0.09;  // 1.5 to 9 % a day
  plant.use_factor = 1 + 0.02 * plant.normal();
  plant.quantum = pick(0.5, 1, 1, 2);
  plant.noise = pick(0.1, 0.3, 0.5);
  plant.stick = pick(0, 0.5, 1.5, 3);
  plant.by_temperature = pick(-0.02, 0, 0.01, 0.02);
  plant.reading_s = pick(180, 600, 1800);
  plant.design_known = seed % 3 != 0;
  plant.low_switch = seed % 2 == 0;
  return plant;
}

// A healthy station may be accused of odd use or of a bad sensor once in some years at most (measured over 200 such
// stations and 49 years: 0.1 a year), and never of a short life that is not short.
TEST(ManyStations, are_hardly_ever_accused_while_healthy) {
  int accused = 0, false_lives = 0;
  double years = 0, inside = 0, told = 0;
  for (unsigned seed = 1; seed <= 24; ++seed) {
    Plant plant = station_of(seed);
    std::mt19937 people(seed);
    while (years * 365 < 90.0 * seed) {
      plant.run(1);
      years += 1 / 365.0;
      if (plant.life().days && plant.days().size() > 8) {
        ++told;
        if (*plant.life().days_low <= plant.life_days() && plant.life_days() <= *plant.life().days_high) ++inside;
      }
      if (plant.holds(Condition::short_reservoir_life) && plant.life_days() > 14.3) ++false_lives;
      if (plant.level < 15 || people() % 40 == 0) plant.refill(std::min(99.0, std::max(plant.level + 12, 70.0 + static_cast<double>(people() % 28))), people() % 2 == 0);
    }
    const auto use = plant.raised(Condition::grease_use_shift).size(), sensor = plant.raised(Condition::doubtful_sensor).size();
    accused += static_cast<int>(use + sensor);
  }
  EXPECT_LE(accused / years, 0.35) << accused << " in " << years << " years";
  EXPECT_EQ(false_lives, 0);
  EXPECT_GE(inside / told, 0.7) << inside / told;
  RecordProperty("coverage_pct", static_cast<int>(100 * inside / told));
}

// Clocks and calendars: a recording moved by whole days gives the same figures with other stamps.
RC_GTEST_PROP(ManyStations, do_not_mind_the_date, ()) {
  const unsigned seed = *rc::gen::inRange(1U, 1000U);
  const int days = *rc::gen::inRange(1, 400);
  Plant here = station_of(seed), there = station_of(seed);
  here.by_temperature = there.by_temperature = 0;
  there.now += std::chrono::days{days};
  here.run(3);
  there.run(3);
  const auto a = here.days(), b = there.days();
  RC_ASSERT(a.size() == b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    RC_ASSERT(a[i].date + std::chrono::days{days} == b[i].date);
    RC_ASSERT(a[i].level_pct == b[i].level_pct);
    RC_ASSERT(a[i].life_days == b[i].life_days);
  }
}

}  // namespace
}  // namespace driftline::rules::reservoir
