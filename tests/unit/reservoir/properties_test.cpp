// What holds of a reservoir's judgement whatever befalls it.
#include <gtest/gtest.h>
#include <rapidcheck.h>

#include <array>
#include <sstream>

#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/array.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/optional.hpp>

#include "tests/unit/reservoir/plant.h"

namespace driftline::rules::reservoir {
namespace {

using test::Plant;

Plant any_plant() {
  Plant plant;
  plant.seed = *rc::gen::inRange(1U, 10000U);
  plant.random.seed(plant.seed);
  plant.turn_s = *rc::gen::element(3600.0, 7200.0, 10800.0);
  plant.lines = *rc::gen::inRange(1, 4);
  plant.sensor = *rc::gen::element(true, true, true, false);
  plant.low_switch = *rc::gen::arbitrary<bool>();
  plant.quantum = *rc::gen::element(0.5, 1.0, 2.0);
  plant.stick = *rc::gen::element(0.0, 1.5, 3.0);
  plant.reading_s = 1800;
  plant.design_known = *rc::gen::arbitrary<bool>();
  return plant;
}

// One thing that happens to a plant.
struct Happening {
  int kind = 0;
  double days = 0;
};

std::vector<Happening> any_happenings() {
  std::vector<Happening> all;
  for (int i = *rc::gen::inRange(4, 14); i > 0; --i) all.push_back({*rc::gen::inRange(0, 10), 0.25 * *rc::gen::inRange(1, 16)});
  return all;
}

void let_happen(Plant& plant, const Happening& h) {
  switch (h.kind) {
    case 0: plant.refill(90, true); break;
    case 1: plant.refill(75, false); break;
    case 2: plant.stuck_at = 0; break;
    case 3: plant.stuck_at = plant.held; break;
    case 4: plant.stuck_at.reset(); break;
    case 5: plant.leak_pct_a_day = plant.leak_pct_a_day > 0 ? 0 : 5; break;
    case 6: plant.now = later_by_days(plant.now, h.days); break;  // silence
    case 7: plant.turns_come = !plant.turns_come; break;
    case 8: plant.note(ServiceKind::repaired); break;
    default: break;
  }
  plant.run(h.days);
}

void check_days(const Plant& plant) {
  std::optional<Time> last;
  for (const ReservoirDay& day : plant.days()) {
    RC_ASSERT(!last || day.date > *last);
    last = day.date;
    if (day.level_pct) RC_ASSERT(*day.level_pct >= 0 && *day.level_pct <= 100);
    RC_ASSERT(day.life_days.has_value() == day.life_days_low.has_value() && day.life_days.has_value() == day.life_days_high.has_value());
    if (day.life_days) RC_ASSERT(*day.life_days_low >= 0 && *day.life_days_low <= *day.life_days && *day.life_days <= *day.life_days_high);
    if (day.use_pct_per_day) RC_ASSERT(*day.use_pct_per_day > 0);
  }
}

void check_findings(const Plant& plant) {
  std::array<bool, condition_count> on{};
  for (const Output& output : plant.said) {
    const auto* f = std::get_if<Finding>(&output);
    if (!f) continue;
    bool& open = on[static_cast<std::size_t>(f->condition)];
    RC_ASSERT(f->holds || open);  // nothing ends that was not there
    open = f->holds;
    RC_ASSERT(!f->reason.empty());
    double sum = 0;
    for (std::size_t i = 0; i < f->causes.size(); ++i) {
      sum += f->causes[i].weight;
      if (i > 0) RC_ASSERT(f->causes[i - 1].weight >= f->causes[i].weight);
    }
    RC_ASSERT(f->causes.empty() || std::abs(sum - 1) < 1e-9);
  }
}

// If this fails a row contradicts itself, a warning ends twice, or weights are no probabilities.
TEST(ReservoirProperties, rows_and_findings_make_sense_whatever_happens) {
  EXPECT_TRUE(rc::check("any plant, any troubles", [] {
    Plant plant = any_plant();
    for (const Happening& h : any_happenings()) let_happen(plant, h);
    check_days(plant);
    check_findings(plant);
  }));
}

// If this fails somebody is sent out at night by a count that nothing confirms.
TEST(ReservoirProperties, act_is_never_said_on_a_count_alone_while_the_sensor_is_in_doubt) {
  EXPECT_TRUE(rc::check("a sensor that stands for good, and no switch", [] {
    Plant plant = any_plant();
    plant.sensor = true;
    plant.low_switch = false;
    plant.design_known = true;
    plant.run(3);
    plant.stuck_at = plant.held;
    for (int i = 0; i < 20 && plant.state.doubt == Doubt::none; ++i) plant.run(0.5);
    RC_ASSERT(plant.state.doubt != Doubt::none);
    const std::size_t doubted = plant.said.size();
    RC_PRE(plant.state.life.urgency != Urgency::act && plant.state.low.urgency != Urgency::act);
    for (Happening h : any_happenings()) {
      if (h.kind >= 2 && h.kind <= 4) h.kind = 9;
      let_happen(plant, h);
    }
    for (std::size_t i = doubted; i < plant.said.size(); ++i) {
      const auto* f = std::get_if<Finding>(&plant.said[i]);
      if (f && f->holds) RC_ASSERT(f->urgency != Urgency::act);
    }
  }));
}

std::string bytes_of(const State& state) {
  std::ostringstream out;
  cereal::PortableBinaryOutputArchive archive(out);
  archive(state);
  return out.str();
}

// If this fails a restart changes what is said afterwards.
TEST(ReservoirProperties, a_saved_and_loaded_state_goes_on_the_same) {
  EXPECT_TRUE(rc::check("saved anywhere", [] {
    Plant plant = any_plant();
    for (const Happening& h : any_happenings()) let_happen(plant, h);
    Plant other = plant;
    std::istringstream in(bytes_of(plant.state));
    cereal::PortableBinaryInputArchive archive(in);
    other.state = State{};
    archive(other.state);
    RC_ASSERT(other.state == plant.state);
    const Happening next{*rc::gen::inRange(0, 10), 1};
    let_happen(plant, next);
    let_happen(other, next);
    RC_ASSERT(other.said == plant.said);
    RC_ASSERT(other.state == plant.state);
  }));
}

}  // namespace
}  // namespace driftline::rules::reservoir
