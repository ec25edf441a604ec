#include "gateway/broker/backoff.h"

#include <gtest/gtest.h>

namespace driftline::broker {
namespace {

TEST(Backoff, doubles_to_its_bound_and_is_spread_over_the_upper_half) {
  // Too eager: a broker that comes up is hammered. Not spread: all gateways of a plant at one time.
  const BackoffRange range{1, 60};
  EXPECT_DOUBLE_EQ(backoff_s(1, range, 0.0), 0.5);
  EXPECT_DOUBLE_EQ(backoff_s(1, range, 1.0), 1.0);
  EXPECT_DOUBLE_EQ(backoff_s(4, range, 1.0), 8.0);
  EXPECT_DOUBLE_EQ(backoff_s(7, range, 1.0), 60.0);
  EXPECT_DOUBLE_EQ(backoff_s(1'000'000, range, 0.0), 30.0);
}

}  // namespace
}  // namespace driftline::broker
