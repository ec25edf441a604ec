#include "rules/reservoir/conditions.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <string>

namespace driftline::rules::reservoir {
namespace {

constexpr double surely_short = 0.7;   // of the notice days: short, whatever the interval says
constexpr double long_again = 1.15;    // of the notice days: let go
constexpr double low_again_pct = 2.5;  // over the mark: let go
constexpr double low_sure_sd_pct = 3;  // a level known worse than this is not called low
constexpr double restate = 0.2;        // a life that moved by this share is said again

constexpr double suspected_share = 0.08;  // of the usual use, and
constexpr double suspected_errors = 2;    // so many standard errors

struct Verdict {
  bool over = false;
  bool calm = false;
  Urgency urgency = Urgency::notice;
  double value = 0;  // what is said; restated when it moves
  bool quiet = false;  // nothing new is raised now
};

enum class Say : std::uint8_t { nothing, holds, let_go };

bool is_quiet(const Context& context, Condition condition, Time time) { return context.thresholds.quiet_until_of(condition, time).has_value(); }

Say settle(Open& open, const Verdict& verdict, Time time, bool again) {
  if (!open.on) {
    if (!verdict.over || verdict.quiet) return Say::nothing;
    open = {true, verdict.urgency, time, static_cast<float>(verdict.value)};
    return Say::holds;
  }
  if (verdict.calm) {
    open = {};
    return Say::let_go;
  }
  const bool worse = verdict.over && verdict.urgency > open.urgency;
  const bool moved =
      std::abs(verdict.value - double{open.said}) > restate * std::max(std::abs(double{open.said}), 1.0);
  if (worse) open.urgency = verdict.urgency;
  if (!worse && !moved && !again) return Say::nothing;
  open.said = static_cast<float>(verdict.value);
  return Say::holds;
}

// A level that is only counted while its sensor is in doubt sends nobody out at night, unless the switch
// agrees.
Urgency urgency_of(const State& state, const std::optional<double>& days, const Thresholds& t) {
  if (!days) return Urgency::notice;
  const bool sure = state.doubt == Doubt::none || state.switch_made;
  if (*days <= t.reservoir_act_days && sure) return Urgency::act;
  return *days <= t.reservoir_plan_days ? Urgency::plan : Urgency::notice;
}

Forecast forecast_of(const Life& life, Time time) {
  if (!life.days) return {};
  return {later_by_days(time, *life.days), later_by_days(time, *life.days_low),
          later_by_days(time, *life.days_high)};
}

// How much longer a line's turns take than they did, beside the other lines (temperature moves all); with one
// line alone.
double line_slowed(const State& state) {
  double most = -1, least = 1e9;
  int lines = 0;
  for (std::size_t i = 0; i < state.time_usual.size(); ++i) {
    if (state.time_usual[i] <= 0) continue;
    const double ratio = double{state.time_now[i]} / double{state.time_usual[i]};
    most = std::max(most, ratio);
    least = std::min(least, ratio);
    ++lines;
  }
  if (lines == 0) return 0;
  return lines == 1 ? most - 1 : most - least;
}

// Over-use leaves through a line when that line's turns take longer by about as much or fail, else out of the
// reservoir.
std::vector<WeightedCause> over_use_causes(const State& state) {
  if (state.rest_fall > 0) return {{Cause::reservoir_leak, 0.97}, {Cause::level_sensor_stuck, 0.03}};
  if (std::popcount(state.misses) >= 3)
    return {{Cause::line_broken, 0.5}, {Cause::slow_leak, 0.4}, {Cause::reservoir_leak, 0.1}};
  const double excess = state.usual_use > 0 ? state.filter.estimate().use / double{state.usual_use} - 1 : 0.3;
  const double slowed = line_slowed(state) / std::max(excess, 0.1);
  if (slowed > 0.5) return {{Cause::slow_leak, 0.8}, {Cause::reservoir_leak, 0.2}};
  if (slowed > 0.25) return {{Cause::slow_leak, 0.5}, {Cause::reservoir_leak, 0.5}};
  return {{Cause::reservoir_leak, 0.8}, {Cause::slow_leak, 0.2}};
}

// Before a shift of use is sure enough to be said by itself it may already be what makes the life short.
bool over_use_suspected(const State& state) {
  const Estimate e = state.filter.estimate();
  const double usual = double{state.usual_use};
  return usual > 0 &&
         e.use - usual > std::max(suspected_share * usual,
                                  suspected_errors * std::hypot(e.use_sd, double{state.usual_sd}));
}

std::vector<WeightedCause> life_causes(const State& state) {
  return state.shift > 0 || over_use_suspected(state) ? over_use_causes(state) : std::vector<WeightedCause>{};
}

Finding finding(Condition condition, const Open& open, Say say, Time time) {
  Finding f;
  f.condition = condition;
  f.time = time;
  f.holds = say == Say::holds;
  f.urgency = open.urgency;
  return f;
}

FigureShift shift_of(const char* figure, double value, const Open& open) {
  FigureShift shift;
  shift.figure = figure;
  shift.value = value;
  if (open.on) shift.since = open.since;
  return shift;
}

void judge_low(State& state, Time time, const Context& context, const Life& life, bool again,
               std::vector<Output>& out) {
  const double mark = context.thresholds.of(Condition::reservoir_low).limit.value_or(context.design.low_pct.value_or(low_pct_default));
  const Estimate e = state.filter.estimate();
  const bool level_counts =
      life.level_pct && e.level_sd < low_sure_sd_pct && (state.sensor_seen || state.switch_seen);
  const bool switched = state.switch_made && state.low_readings >= 2;
  const bool open = state.switch_seen && !state.switch_made;
  const bool settled = state.doubt == Doubt::none && state.odd == 0;  // else a refill may be under way
  const bool under = level_counts && settled && *life.level_pct <= mark - (open ? low_margin_pct : 0);
  Verdict verdict{under || switched, !switched && (!level_counts || *life.level_pct > mark + low_again_pct),
                  Urgency::plan, 0, is_quiet(context, Condition::reservoir_low, time)};
  if (urgency_of(state, life.days, context.thresholds) == Urgency::act && (switched || under))
    verdict.urgency = Urgency::act;
  const Say say = settle(state.low, verdict, time, again);
  if (say == Say::nothing) return;
  Finding f = finding(Condition::reservoir_low, state.low, say, time);
  f.causes = life_causes(state);
  f.forecast = forecast_of(life, time);
  if (life.level_pct) {
    f.shift = shift_of("level_pct", *life.level_pct, state.low);
    f.shift->limit = mark;
  }
  f.reason = say == Say::let_go ? "the reservoir is filled above its low mark again"
             : switched         ? "the low-level switch is made"
                                : "the level is under its low mark";
  out.emplace_back(std::move(f));
}

void judge_life(State& state, Time time, const Context& context, const Life& life, bool again,
                std::vector<Output>& out) {
  const double notice = context.thresholds.reservoir_notice_days;
  Verdict verdict{false, true, urgency_of(state, life.days, context.thresholds), life.days.value_or(0),
                  is_quiet(context, Condition::short_reservoir_life, time)};
  if (life.days) {
    verdict.over = *life.days_high <= notice || *life.days <= surely_short * notice;
    verdict.calm = *life.days > long_again * notice;  // a refill that lasts for less eases the urgency only
  }
  const Say say = settle(state.life, verdict, time, again);
  if (say == Say::nothing) return;
  Finding f = finding(Condition::short_reservoir_life, state.life, say, time);
  f.causes = life_causes(state);
  f.forecast = forecast_of(life, time);
  if (life.days) {
    f.shift = shift_of("life_days", *life.days, state.life);
    f.shift->spread = (*life.days_high - *life.days) / 1.2816;
    f.shift->limit = notice;
  }
  f.reason = say == Say::let_go ? "the reservoir lasts longer again"
             : state.shift > 0  ? "the reservoir empties faster than its lines account for"
                                : "the reservoir reaches its empty mark soon at the present use";
  out.emplace_back(std::move(f));
}

void judge_use(State& state, Time time, const Context& context, const Life& life, bool again,
               std::vector<Output>& out) {
  const double value = state.filter.estimate().use;
  Verdict verdict{state.shift != 0, state.shift == 0, Urgency::notice, value, is_quiet(context, Condition::grease_use_shift, time)};
  if (state.shift > 0)
    verdict.urgency = std::max(Urgency::plan, urgency_of(state, life.days, context.thresholds));
  if (state.shift < 0) verdict.urgency = Urgency::plan;
  const bool was_up = double{state.use.said} > double{state.usual_use};
  const Say say = settle(state.use, verdict, time, again);
  if (say == Say::nothing) return;
  Finding f = finding(Condition::grease_use_shift, state.use, say, time);
  if (state.shift > 0 || (state.shift == 0 && was_up))
    f.causes = over_use_causes(state);
  else
    f.causes = {
        {Cause::metering_stuck, 0.7}, {Cause::line_restricted, 0.2}, {Cause::level_sensor_stuck, 0.1}};
  f.forecast = state.shift > 0 ? forecast_of(life, time) : Forecast{};
  if (state.rest_fall > 0) {
    f.shift = shift_of("level_pct", life.level_pct.value_or(0), state.use);
    f.shift->usual = double{state.rest_level};
  } else {
    f.shift = shift_of(state.designed ? "use_share_of_charges" : "use_pct_per_turn", value, state.use);
    f.shift->usual = double{state.usual_use};
    f.shift->spread = double{state.usual_sd};
  }
  f.reason = say == Say::let_go    ? "grease is used as before again"
             : state.rest_fall > 0 ? "the level falls while no turn is made"
             : state.shift > 0     ? "more grease leaves the reservoir than the turns account for"
                                   : "less grease leaves the reservoir than the turns account for";
  out.emplace_back(std::move(f));
}

void judge_sensor(State& state, Time time, const Context& context, bool again, std::vector<Output>& out) {
  const Verdict verdict{state.doubt != Doubt::none, state.doubt == Doubt::none, Urgency::plan, 0, is_quiet(context, Condition::doubtful_sensor, time)};
  const Say say = settle(state.sensor, verdict, time, again);
  if (say == Say::nothing) return;
  Finding f = finding(Condition::doubtful_sensor, state.sensor, say, time);
  f.causes = {{Cause::level_sensor_stuck, 1.0}};
  f.shift = shift_of("level_pct", double{state.last_reading}, state.sensor);
  switch (state.doubt) {
    case Doubt::none:
      f.reason = "the level reading moves with the turns again";
      break;
    case Doubt::stuck:
      f.reason = "the level reading stays while turns use grease";
      break;
    case Doubt::fell:
      f.reason = "the level reading fell at once by more than turns can use, and turns are still reached";
      break;
    case Doubt::impossible:
      f.reason = "the level reading is outside what a sensor can say";
      break;
    case Doubt::reported:
      f.reason = "the level sensor gives nothing sensible";
      break;
  }
  out.emplace_back(std::move(f));
}

}  // namespace

void judge_conditions(State& state, Time time, const Context& context, bool again, std::vector<Output>& out) {
  const Life life = life_at(state, std::max(time, state.last_event), context);
  judge_low(state, time, context, life, again, out);
  judge_life(state, time, context, life, again, out);
  judge_use(state, time, context, life, again, out);
  judge_sensor(state, time, context, again, out);
}

}  // namespace driftline::rules::reservoir
