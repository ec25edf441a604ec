// The filter against what can be worked out by hand, and against a follower that sticks.
#include "rules/reservoir/level_filter.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace driftline::rules::reservoir {
namespace {

// Two readings of a level that was not known before weigh as their variances say: the Kalman filter's textbook case.
TEST(LevelFilter, weighs_readings_by_their_variances) {
  LevelFilter filter;
  filter.start_use(1, 1e-3);
  filter.set_level(50, 2);
  filter.read(52, 1);
  const Follower& free = filter.calm[0];  // does not stick
  EXPECT_NEAR(free.level, (50 / 4.0 + 52 / 1.0) / (1 / 4.0 + 1), 1e-6);
  EXPECT_NEAR(double{free.level_var}, 1 / (1 / 4.0 + 1), 1e-6);
}

// A turn takes use times nominal off the level and adds what is not known of the use.
TEST(LevelFilter, takes_a_turn_off_the_level) {
  LevelFilter filter;
  filter.start_use(1.2, 0.1);
  filter.set_level(50, 2);
  filter.turn(0.5, 0.05);
  const Estimate e = filter.estimate();
  EXPECT_NEAR(e.level, 50 - 0.6, 1e-9);
  EXPECT_NEAR(e.level_sd * e.level_sd, 4 + 0.25 * 0.01 + 1.44 * 0.0025, 1e-5);
  EXPECT_NEAR(e.cross, -0.5 * 0.01, 1e-6);
}

// The amount by which the follower sticks is found from how it moves, and the level is then not read half of it too high.
TEST(LevelFilter, finds_out_how_much_the_follower_sticks) {
  for (std::size_t truth = 0; truth < follower_count; ++truth) {
    std::mt19937 random(7);
    LevelFilter filter;
    filter.start_use(1, 0.03);
    double level = 95, held = 95;
    filter.start_level(95, 0.4);
    for (int turn = 0; turn < 200; ++turn) {
      filter.read(held + 0.2 * (static_cast<double>(random() % 1000) / 500 - 1), 0.15);
      filter.turn(0.4, 0.01);
      level -= 0.4;
      if (held - level >= stick_pct[truth]) held = level;
    }
    EXPECT_NEAR(filter.estimate().level, level, 0.35) << "sticks by " << stick_pct[truth];
    if (truth >= 2) {
      EXPECT_NEAR(filter.likely_stick(), stick_pct[truth], 0.5);  // the hypotheses lie 0.75 apart
    }
  }
}

// A use that changes is taken over within some turns; one that does not is held calm.
TEST(LevelFilter, follows_a_change_of_use_and_keeps_calm_without_one) {
  std::mt19937 random(11);
  LevelFilter filter;
  filter.start_use(1, 0.03);
  filter.start_level(95, 0.4);
  double level = 95, most = 0;
  const auto turns = [&](int count, double use) {
    for (int i = 0; i < count; ++i) {
      filter.wander(1 / 16.0);
      filter.read(level + 0.3 * (static_cast<double>(random() % 1000) / 500 - 1), 0.2);
      filter.turn(0.3, 0.01);
      level -= 0.3 * use;
      most = std::max(most, std::abs(filter.estimate().use - 1));
    }
  };
  turns(120, 1);
  EXPECT_LT(most, 0.05);
  turns(40, 1.5);
  EXPECT_NEAR(filter.estimate().use, 1.5, 0.1);
}

}  // namespace
}  // namespace driftline::rules::reservoir
