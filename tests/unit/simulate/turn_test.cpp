#include "gateway/simulate/turn.h"

#include <gtest/gtest.h>

namespace driftline::simulate {
namespace {

const std::vector<Device>& devices() {
  static const std::vector<Device> all(20, Device{.opening_bar = 60, .at = 0.5, .charge_cm3 = 2, .stuck_from = 0.5});
  return all;
}

TurnInput healthy() {
  TurnInput in;
  in.delivery_cm3_s = 1;
  in.devices = &devices();
  return in;
}

TurnResult run(const TurnInput& in) {
  std::vector<TurnPoint> curve;
  return run_turn(in, curve);
}

TEST(Turn, pumps_the_charges_and_what_the_line_takes_up) {
  // Mass must balance: 40 cm3 of charges, 0.3 cm3/bar up to the target less half the drop, the air, at 1 cm3/s; the soft
  // start costs half of its 1.5 s.
  const TurnResult r = run(healthy());
  EXPECT_TRUE(r.reached);
  EXPECT_EQ(r.moved, 20);
  EXPECT_DOUBLE_EQ(r.dispensed_cm3, 40);
  EXPECT_NEAR(r.to_pressure_s, 40 + 0.3 * 175 + 1 + 0.75, 1);
}

TEST(Turn, a_leak_takes_longer_and_a_great_one_never_arrives) {
  // The commonest fault of all.
  TurnInput in = healthy();
  in.leak_cm3_s = 0.3;
  const TurnResult small = run(in);
  EXPECT_TRUE(small.reached);
  EXPECT_GT(small.to_pressure_s, run(healthy()).to_pressure_s * 1.1);
  EXPECT_GT(small.leaked_cm3, 5);
  in.leak_cm3_s = 1.2;
  const TurnResult great = run(in);
  EXPECT_FALSE(great.reached);
  EXPECT_DOUBLE_EQ(great.stop_s, in.pump_limit_s);
}

TEST(Turn, a_relief_valve_set_low_caps_the_pressure) {
  // It runs on just under the target: the one shape that tells this cause.
  TurnInput in = healthy();
  in.relief_bar = 160;
  const TurnResult r = run(in);
  EXPECT_FALSE(r.reached);
  EXPECT_GT(r.peak_bar, 160);
  EXPECT_LT(r.peak_bar, 170);
}

TEST(Turn, stuck_devices_shorten_the_plateau_by_their_charges) {
  // One charge each, and the bearing behind it goes dry.
  TurnInput in = healthy();
  in.stuck_share = 0.6;  // all of these stick from 0.5
  const TurnResult r = run(in);
  EXPECT_EQ(r.dispensed_cm3, 0);
  EXPECT_EQ(r.not_moved, 20);
  EXPECT_NEAR(run(healthy()).to_pressure_s - r.to_pressure_s, 40, 0.5);
}

TEST(Turn, the_curve_never_goes_back_in_time) {
  // Samples are taken from it between its points.
  std::vector<TurnPoint> curve;
  TurnInput in = healthy();
  in.air_cm3 = 30;
  (void)run_turn(in, curve);
  for (std::size_t i = 1; i < curve.size(); ++i) EXPECT_GE(curve[i].after_s, curve[i - 1].after_s);
}

}  // namespace
}  // namespace driftline::simulate
