#include "gateway/cycles/reorder_window.h"

#include <gtest/gtest.h>

namespace driftline::cycles {
namespace {

Sample at(std::int64_t ms) {
  Sample sample;
  sample.time = time_from_ms(ms);
  return sample;
}

TEST(ReorderWindow, late_samples_come_out_in_their_place) {
  // A late sample taken out of order would bend the rise.
  ReorderWindow window;
  EXPECT_EQ(window.insert({at(2000), time_from_ms(2100)}), Insertion::held);
  EXPECT_EQ(window.insert({at(1000), time_from_ms(2200)}), Insertion::held);
  EXPECT_EQ(window.insert({at(1000), time_from_ms(2300)}), Insertion::doubled);
  EXPECT_EQ(window.insert({at(60000), time_from_ms(60100)}), Insertion::held);
  const auto out = window.release(time_from_ms(60100), 30.0);
  ASSERT_EQ(out.size(), 2U);
  EXPECT_EQ(out[0].sample.time, time_from_ms(1000));
  EXPECT_EQ(out[1].sample.time, time_from_ms(2000));
  EXPECT_EQ(window.insert({at(2000), time_from_ms(60200)}), Insertion::doubled);
  EXPECT_EQ(window.insert({at(1500), time_from_ms(60200)}), Insertion::behind);
}

}  // namespace
}  // namespace driftline::cycles
