#include "rules/warnings/held.h"

#include <gtest/gtest.h>

namespace driftline::rules {
namespace {

Time at(int minute) { return time_from_ms(1772323200000 + minute * 60000LL); }

// If this fails a figure at its limit sends a message with every turn.
TEST(Held, a_condition_that_hovers_is_raised_once_and_let_go_only_after_calm_turns) {
  Held held;
  int raised = 0;
  int let_go = 0;
  for (int i = 0; i < 100; ++i) {
    const bool over = i % 2 == 0;
    const Step step = settle(held, {.over = over, .calm = !over, .urgency = Urgency::notice}, at(i));
    raised += step == Step::raised;
    let_go += step == Step::let_go;
  }
  EXPECT_EQ(raised, 1);
  EXPECT_EQ(let_go, 0);
  for (int i = 0; i < calm_turns_to_clear; ++i) let_go += settle(held, {.over = false, .calm = true}, at(100 + i)) == Step::let_go;
  EXPECT_EQ(let_go, 1);
  EXPECT_FALSE(held.on);
}

// If this fails urgency flaps, or comes late.
TEST(Held, urgency_rises_at_once_and_falls_after_turns_of_less) {
  Held held;
  settle(held, {.over = true, .calm = false, .urgency = Urgency::notice}, at(0));
  settle(held, {.over = true, .calm = false, .urgency = Urgency::act}, at(1));
  EXPECT_EQ(held.urgency, Urgency::act);
  for (int i = 0; i < turns_to_relax - 1; ++i) settle(held, {.over = true, .calm = false, .urgency = Urgency::plan}, at(2 + i));
  EXPECT_EQ(held.urgency, Urgency::act);
  settle(held, {.over = true, .calm = false, .urgency = Urgency::plan}, at(20));
  EXPECT_EQ(held.urgency, Urgency::plan);
}

}  // namespace
}  // namespace driftline::rules
