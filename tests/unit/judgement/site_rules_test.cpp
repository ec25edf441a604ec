#include <gtest/gtest.h>
#include <rapidcheck.h>

#include <cmath>
#include <map>
#include <set>

#include "rules/judgement/site_state.h"
#include "rules/judgement/station_rules.h"
#include "rules/judgement/station_state.h"

namespace driftline::rules {
namespace {

constexpr Time start = time_from_ms(1772323200000);  // 2026-03-01T00:00:00Z

Finding finding(Condition condition, Time time, std::vector<WeightedCause> causes, bool holds = true) {
  Finding f;
  f.condition = condition;
  f.time = time;
  f.holds = holds;
  f.causes = std::move(causes);
  return f;
}

struct Site {
  SiteState state;
  std::vector<WarningChange> changes;
  std::vector<ForecastDay> days;

  void take(const std::string& station, const Finding& f) {
    std::vector<SiteOutput> out;
    judge(state, {"northyard", station}, f, f.time, out);
    sort(out);
  }
  void advance(Time now) {
    std::vector<SiteOutput> out;
    advance_to(state, now, out);
    sort(out);
  }

 private:
  void sort(const std::vector<SiteOutput>& out) {
    for (const SiteOutput& o : out) {
      if (const auto* change = std::get_if<WarningChange>(&o)) changes.push_back(*change);
      if (const auto* day = std::get_if<ForecastDay>(&o)) days.push_back(*day);
    }
  }
};

const std::vector<WeightedCause> undecided{{Cause::pump_worn, 0.5}, {Cause::stiff_grease, 0.3}, {Cause::slow_leak, 0.2}};

// If this fails forty cold stations are forty worn pumps.
TEST(SiteRules, what_many_stations_show_at_once_is_put_down_to_the_weather) {
  Site site;
  for (int i = 0; i < 6; ++i)
    site.take("ps-" + std::to_string(i), finding(Condition::slow_to_pressure, later_by_s(start, 1800.0 * i), undecided));
  ASSERT_EQ(site.changes.size(), 6U);
  EXPECT_EQ(site.changes[0].causes[0].cause, Cause::pump_worn) << "one alone tells of no weather";
  for (std::size_t i = 2; i < 6; ++i) {
    EXPECT_EQ(site.changes[i].causes[0].cause, Cause::stiff_grease) << i;
    EXPECT_NE(site.changes[i].text.find(std::to_string(i) + " other stations of northyard"), std::string::npos) << site.changes[i].text;
  }
}

// If this fails a cold morning that shows as slow here and as held pressure there is no site's morning.
TEST(SiteRules, cold_that_shows_differently_from_station_to_station_counts_together) {
  Site site;
  const std::vector<WeightedCause> cold{{Cause::stiff_grease, 0.9}, {Cause::vent_restricted, 0.1}};
  site.take("ps-1", finding(Condition::residual_pressure, start, cold));
  site.take("ps-2", finding(Condition::slow_vent, later_by_s(start, 3600), cold));
  site.take("ps-3", finding(Condition::slow_to_pressure, later_by_s(start, 7200), undecided));
  EXPECT_EQ(site.changes[2].causes[0].cause, Cause::stiff_grease);
  // Not what is put down to something else.
  Site other;
  other.take("ps-1", finding(Condition::residual_pressure, start, {{Cause::outside_pressure, 1}}));
  other.take("ps-2", finding(Condition::slow_vent, later_by_s(start, 3600), {{Cause::vent_restricted, 1}}));
  other.take("ps-3", finding(Condition::slow_to_pressure, later_by_s(start, 7200), undecided));
  EXPECT_EQ(other.changes[2].causes[0].cause, Cause::pump_worn);
}

// If this fails three leaks in a month are called cold.
TEST(SiteRules, what_comes_days_apart_has_no_cause_in_common) {
  Site site;
  for (int i = 0; i < 6; ++i) site.take("ps-" + std::to_string(i), finding(Condition::slow_to_pressure, later_by_days(start, 2.0 * i), undecided));
  for (const WarningChange& change : site.changes) EXPECT_EQ(change.causes[0].cause, Cause::pump_worn);
}

Finding silence(Time last_word, double after_s) {
  Finding f = finding(Condition::station_silent, later_by_s(last_word, after_s), {{Cause::power_lost, 0.5}, {Cause::link_lost, 0.5}});
  f.shift = FigureShift{};
  f.shift->figure = "silent_s";
  f.shift->since = last_word;
  return f;
}

// If this fails a network that is down sends an electrician to each station.
TEST(SiteRules, stations_that_fell_silent_together_lost_their_link_however_late_each_is_told) {
  Site site;
  for (int i = 0; i < 4; ++i) site.take("ps-" + std::to_string(i), silence(later_by_s(start, 300.0 * i), 1800 + 7000.0 * i));
  EXPECT_EQ(site.changes[3].causes[0].cause, Cause::link_lost);
  EXPECT_GT(site.changes[3].causes[0].weight, 0.8);
  Site apart;
  for (int i = 0; i < 4; ++i) apart.take("ps-" + std::to_string(i), silence(later_by_s(start, 7200.0 * i), 1800));
  EXPECT_NEAR(apart.changes[3].causes[0].weight, 0.5, 1e-9) << "hours apart: each for itself";
}

// Forty stations with reserves of their own; the frost comes in a night.
TEST(SiteRules, a_frosty_morning_is_one_cause_for_forty_stations_within_the_same_hours) {
  Site site;
  constexpr int stations = 40;
  constexpr int mild_turns = 300;
  struct One {
    StationContext context;
    StationState state;
    double warm_s = 0;
    double by_degree = 0;
  };
  std::vector<One> all(stations);
  for (int i = 0; i < stations; ++i) {
    One& one = all[static_cast<std::size_t>(i)];
    one.context.id = {"northyard", "ps-" + std::to_string(100 + i)};
    one.context.design.settings = {.cycle_s = 7200, .pump_limit_s = 300, .target_bar = 180, .residual_bar = 10, .lines = 2};
    one.warm_s = 150 + i % 7;
    one.by_degree = 0.018 + 0.0005 * (i % 9);
  }
  for (int turn = 0; turn < mild_turns + 60; ++turn)
    for (int i = 0; i < stations; ++i) {
      One& one = all[static_cast<std::size_t>(i)];
      HalfCycle h;
      h.line = turn % 2 + 1;
      h.pump_start = later_by_s(start, 3600.0 * turn + 17 * i);
      h.temp_c = 12 + 5 * std::sin(turn * 2 * 3.14159265 / 24) - 30 * std::clamp((turn - mild_turns) / 10.0, 0.0, 1.0);
      const double breath = std::sin((turn + 100 * i) * 12.9898) * std::cos(turn * 4.1414);
      h.time_to_pressure_s = one.warm_s * std::exp(-one.by_degree * (*h.temp_c - 12)) * (1 + 0.01 * breath);
      h.outcome = *h.time_to_pressure_s < 300 ? Outcome::reached : Outcome::not_reached;
      if (h.outcome == Outcome::not_reached) h.time_to_pressure_s.reset();
      h.pump_run_s = h.time_to_pressure_s.value_or(300);
      h.pump_stop = later_by_s(h.pump_start, *h.pump_run_s);
      h.peak_bar = 182 + 0.4 * breath;
      h.residual_bar = 1.5 + 0.2 * breath;
      h.vent_s = 60 * std::exp(-0.02 * (*h.temp_c - 12)) * (1 + 0.02 * breath);
      h.settings = one.context.design.settings;
      std::vector<Judgement> judgements;
      judge(one.state, h, h.pump_stop, one.context, judgements);
      for (const Judgement& j : judgements)
        if (const auto* f = std::get_if<Finding>(&j)) site.take(one.context.id.station, *f);
    }
  std::set<std::string> told;
  Time first = later_by_days(start, 1000), last = start;
  for (const WarningChange& change : site.changes) {
    if (change.change != Change::raised) continue;
    ASSERT_FALSE(change.causes.empty());
    EXPECT_EQ(change.causes[0].cause, Cause::stiff_grease) << change.text;
    if (!told.insert(change.station.station).second) continue;
    first = std::min(first, change.time);
    last = std::max(last, change.time);
  }
  EXPECT_GT(told.size(), 30U);
  EXPECT_LT(seconds_between(first, last), 12 * 3600.0);
}

// If this fails a warning is raised twice, cleared unraised, or its weights are no probabilities.
TEST(SiteRules, every_warning_is_raised_followed_and_cleared_in_turn) {
  EXPECT_TRUE(rc::check("any findings", [] {
  const auto steps = *rc::gen::container<std::vector<std::tuple<int, int, int, bool, int>>>(
      rc::gen::tuple(rc::gen::inRange(0, 4), rc::gen::inRange(0, 3), rc::gen::inRange(0, 12), rc::gen::arbitrary<bool>(), rc::gen::inRange(0, 3)));
  Site site;
  Time now = start;
  for (const auto& [station, line, condition, holds, urgency] : steps) {
    now = later_by_s(now, 977.0 * (1 + urgency));
    Finding f = finding(static_cast<Condition>(condition), now, undecided, holds);
    if (line > 0) f.line = line;
    f.urgency = static_cast<Urgency>(urgency);
    if (condition % 2 == 0) f.forecast.limit_at = later_by_days(now, 5);
    site.take("ps-" + std::to_string(station), f);
  }
  std::map<std::tuple<std::string, int, Condition>, Urgency> open;
  for (const WarningChange& change : site.changes) {
    const auto key = std::tuple(change.station.station, change.line.value_or(0), change.condition);
    const auto at = open.find(key);
    RC_ASSERT((change.change == Change::raised) == (at == open.end()));
    if (change.change == Change::urgency_changed) RC_ASSERT(at->second != change.urgency);
    if (change.change == Change::cleared) {
      RC_ASSERT(at->second == change.urgency);
      open.erase(at);
    } else {
      open[key] = change.urgency;
    }
    double sum = 0;
    for (std::size_t i = 0; i < change.causes.size(); ++i) {
      sum += change.causes[i].weight;
      if (i > 0) RC_ASSERT(change.causes[i - 1].weight >= change.causes[i].weight);
    }
    RC_ASSERT(std::abs(sum - 1) < 1e-9);
  }
  RC_ASSERT(open.size() == site.state.open.size());
  }));
}

// If this fails a day's forecast comes twice or not at all, depending on when somebody looked.
TEST(SiteRules, forecast_days_come_once_whenever_they_are_asked_for) {
  EXPECT_TRUE(rc::check("any gaps", [] {
  const auto gaps_h = *rc::gen::container<std::vector<int>>(rc::gen::inRange(0, 60));
  Finding f = finding(Condition::slow_to_pressure, start, undecided);
  f.forecast.limit_at = later_by_days(start, 30);
  Site seldom, often;
  for (Site* site : {&seldom, &often}) site->take("ps-1", f);
  Time now = start;
  for (const int hours : gaps_h) {
    now = later_by_s(now, 3600.0 * hours);
    often.advance(now);
  }
  seldom.advance(now);
  RC_ASSERT(often.days == seldom.days);
  RC_ASSERT(static_cast<double>(seldom.days.size()) == std::floor(days_between(start, now)));
  }));
}

// If this fails a restart forgets what is open.
TEST(SiteRules, the_saved_state_goes_on) {
  Site site;
  for (int i = 0; i < 4; ++i) site.take("ps-" + std::to_string(i), silence(later_by_s(start, 60.0 * i), 1800));
  const auto back = load_site(save(site.state));
  ASSERT_TRUE(back);
  EXPECT_EQ(*back, site.state);
}

}  // namespace
}  // namespace driftline::rules
