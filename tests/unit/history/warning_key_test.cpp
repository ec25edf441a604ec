#include "gateway/history/warning_key.h"

#include <gtest/gtest.h>

namespace driftline::history {
namespace {

// Somebody would acknowledge another warning than the one that was meant.
TEST(WarningKey, names_one_warning_and_nothing_else) {
  for (const char* text : {"northyard/ps-01/line-2/slow-to-pressure", "a.b_c-D/9/station/station-silent", "x/y/line-8/slow-vent"}) {
    const auto ref = warning_of_key(text);
    ASSERT_TRUE(ref) << text;
    EXPECT_EQ(key_text(*ref), text);
  }
  for (const char* text : {"", "/", "northyard/ps-01", "northyard/ps-01/line-2", "northyard/ps-01/line-2/", "northyard/ps-01/line-0/slow-vent",
                           "northyard/ps-01/line-9/slow-vent", "northyard/ps-01/line-22/slow-vent", "northyard/ps-01/line-2/slow", "/ps-01/line-2/slow-vent",
                           "northyard//line-2/slow-vent", "northyard/ps-01/line-2/slow-vent/", "north yard/ps-01/line-2/slow-vent", "a/b/c/d/slow-vent"})
    EXPECT_FALSE(warning_of_key(text)) << text;
  EXPECT_FALSE(warning_of_key(std::string(65, 'a') + "/ps-01/line-2/slow-vent"));
}

}  // namespace
}  // namespace driftline::history
