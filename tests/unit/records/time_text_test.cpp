#include "rules/records/time_text.h"

#include <gtest/gtest.h>

namespace driftline {
namespace {

// A stamp that reads back as another instant moves every half-cycle of a station.
TEST(TimeText, written_stamps_read_back) {
  for (const std::int64_t ms : {std::int64_t{0}, std::int64_t{1}, std::int64_t{1709251199999}, std::int64_t{1772344800310},
                                std::int64_t{-1041337172130}}) {
    EXPECT_EQ(parse_rfc3339(rfc3339(time_from_ms(ms))), time_from_ms(ms)) << ms;
  }
  EXPECT_EQ(rfc3339(time_from_ms(1772344800310)), "2026-03-01T06:00:00.310Z");
}

}  // namespace
}  // namespace driftline
