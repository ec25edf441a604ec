#include "rules/judgement/presence.h"

#include <algorithm>
#include <cmath>

#include "rules/diagnosis/diagnosis.h"

namespace driftline::rules {
namespace {

constexpr double periods_missed = 2.3;
constexpr double missed_grace_s = 1200;
constexpr int heard_to_learn = 50;

double silent_after_s(const StationState& state, const Thresholds& thresholds) {
  if (thresholds.silent_after_s) return *thresholds.silent_after_s;
  if (state.hearing.heard < heard_to_learn) return silent_unlearnt_s;
  return std::clamp(3 * double{state.hearing.habit_s} + 300, silent_at_least_s, silent_at_most_s);
}

std::vector<WeightedCause> silence_causes(const Hearing& h) {
  const double both = double{h.link_losses} + double{h.power_losses};
  return ranked({{Cause::link_lost, double{h.link_losses} / both}, {Cause::power_lost, double{h.power_losses} / both}});
}

Finding finding_of(Condition condition, std::optional<int> line, Time time, const Held& held, std::string reason) {
  Finding f;
  f.condition = condition;
  f.line = line;
  f.time = time;
  f.holds = held.on;
  f.urgency = held.urgency;
  f.reason = std::move(reason);
  return f;
}

constexpr std::string_view unusable_reason = "messages come, but none of them can be used";

void raise_unusable(StationState& state, Time time, std::vector<Judgement>& out) {
  state.silent = {.on = true, .urgency = Urgency::notice, .since = time};
  state.hearing.unusable_told = true;
  out.push_back(finding_of(Condition::station_silent, std::nullopt, time, state.silent, std::string(unusable_reason)));
}

std::optional<double> period_of(const LineState& line, const StationState& state, const StationContext& context) {
  const auto cycle = state.settings.cycle_s ? state.settings.cycle_s : context.design.settings.cycle_s;
  const double seen = line.period_s;
  if (!cycle && seen <= 0) return std::nullopt;
  return std::max(cycle.value_or(0), seen);
}
}  // namespace

void hear(StationState& state, Time received, std::optional<Time> time, bool late, const StationContext& context, std::vector<Judgement>& out) {
  Hearing& h = state.hearing;
  const double gap = h.last_received ? seconds_between(*h.last_received, received) : 0;
  const double limit = std::min(double{h.limit_s}, silent_after_s(state, context.thresholds));  // a quiet period teaches no habit
  if (gap >= 0 && gap < limit) {
    const double kept = double{h.habit_s} * (gap > 1 ? 0.995 : 1);
    h.habit_s = static_cast<float>(std::max(kept, gap));
    h.heard = std::min(h.heard + 1, 1000000);
  }
  if (state.silent.on) {
    state.silent = {};
    if (!h.unusable_told) h.back_at = received;
    Finding f = finding_of(Condition::station_silent, std::nullopt, received, state.silent,
                           h.unusable_told ? "its messages can be used again" : "the station is heard again");
    if (!h.unusable_told) f.causes = silence_causes(h);
    out.push_back(std::move(f));
  }
  h.unusable_since.reset();
  h.last_unusable.reset();
  h.unusable_told = false;
  if (h.back_at && late) {
    h.link_losses += 1;
    h.back_at.reset();
  } else if (h.back_at && seconds_between(*h.back_at, received) > 3600) {
    h.power_losses += 1;
    h.back_at.reset();
  }
  h.limit_s = static_cast<float>(silent_after_s(state, context.thresholds));
  h.last_received = received;
  if (h.offline_since && (seconds_between(*h.offline_since, received) > 5 || *h.offline_since > received)) h.offline_since.reset();
  if (!time || late) return;
  const bool broken = !h.last_time || seconds_between(*h.last_time, *time) > std::max(limit, 900.0) || *time < *h.last_time - std::chrono::minutes{10};
  if (broken) h.unbroken_since = *time;
  h.last_time = *time;
}

void hear_unusable(StationState& state, Time received, std::vector<Judgement>& out) {
  Hearing& h = state.hearing;
  h.last_unusable = received;
  if (!h.unusable_since) h.unusable_since = received;
  if (!state.silent.on || h.unusable_told) return;
  state.silent = {};
  Finding over = finding_of(Condition::station_silent, std::nullopt, received, state.silent, "messages come again");
  over.causes = silence_causes(h);
  out.push_back(std::move(over));
  raise_unusable(state, received, out);
}

void hear_presence(StationState& state, const PresenceChange& presence, Time received) {
  if (presence.online) {
    state.hearing.offline_since.reset();
  } else {
    state.hearing.offline_since = received;
  }
}

std::optional<Time> silent_at(const StationState& state) {
  const Hearing& h = state.hearing;
  if (state.silent.on || state.out_of_service) return std::nullopt;
  if (!h.last_received) return h.unusable_since ? std::optional(later_by_s(*h.unusable_since, silent_at_least_s)) : std::nullopt;
  Time at = later_by_s(*h.last_received, h.limit_s);
  if (h.offline_since) at = std::min(at, later_by_s(std::max(*h.offline_since, *h.last_received), offline_grace_s));
  return at;
}

// So that silent_at says `until`.
void put_off(Hearing& h, Time until) {
  if (!h.last_received) {
    h.unusable_since = later_by_s(until, -silent_at_least_s);
    return;
  }
  const double wait_s = seconds_between(*h.last_received, until);
  h.limit_s = static_cast<float>(wait_s);
  if (double{h.limit_s} < wait_s) h.limit_s = std::nextafter(h.limit_s, 1e30F);  // never before `until`
  if (h.offline_since) h.offline_since = later_by_s(until, -offline_grace_s);
}

void judge_silence(StationState& state, Time now, const StationContext& context, std::vector<Judgement>& out) {
  auto at = silent_at(state);
  while (at && *at <= now) {
    const auto quiet = context.thresholds.quiet_until_of(Condition::station_silent, *at);
    if (!quiet) break;
    put_off(state.hearing, *quiet);
    at = silent_at(state);
  }
  if (!at || *at > now) return;
  const Hearing& h = state.hearing;
  const bool comes = h.last_unusable && (!h.last_received || seconds_between(*h.last_unusable, *at) < double{h.limit_s} / 3);
  if (comes) return raise_unusable(state, *at, out);
  state.silent = {.on = true, .urgency = Urgency::notice, .since = *at};
  const bool told = state.hearing.offline_since.has_value();
  Finding f = finding_of(Condition::station_silent, std::nullopt, *at, state.silent,
                         told ? "the broker says it is offline and nothing comes" : "nothing has come for longer than ever usual");
  f.causes = silence_causes(state.hearing);
  f.shift = FigureShift{.figure = "silent_s", .value = seconds_between(*state.hearing.last_received, *at), .usual = double{state.hearing.habit_s},
                        .spread = std::nullopt, .limit = std::nullopt, .since = state.hearing.last_received, .turns = 1};
  out.push_back(std::move(f));
}

void judge_missed(StationState& state, Time station_time, Time now, const StationContext& context, std::vector<Judgement>& out) {
  if (state.out_of_service || !state.hearing.unbroken_since) return;
  int overdue = 0;
  int known = 0;
  for (LineState& line : state.lines) {
    const auto period = period_of(line, state, context);
    if (!line.last_start || !period) continue;
    ++known;
    const Time from = std::max(*line.last_start, *state.hearing.unbroken_since);
    if (seconds_between(from, station_time) > periods_missed * *period + missed_grace_s) ++overdue;
  }
  if (overdue == 0) return;
  const Time judged = seconds_between(station_time, now) > 900 ? now : station_time;
  const auto raise = [&](Held& held, std::optional<int> number, const LineState& line, std::vector<WeightedCause> causes) {
    if (held.on || context.thresholds.quiet_until_of(Condition::missed_turn, judged)) return;
    held = {.on = true, .urgency = Urgency::plan, .since = judged};
    Finding f = finding_of(Condition::missed_turn, number, judged, held, "no turn came although the station is heard");
    f.causes = std::move(causes);
    f.shift = FigureShift{.figure = "hours_since_turn", .value = seconds_between(*line.last_start, station_time) / 3600,
                          .usual = *period_of(line, state, context) / 3600, .spread = std::nullopt, .limit = std::nullopt,
                          .since = line.last_start, .turns = 1};
    out.push_back(std::move(f));
  };
  if (overdue == known) {
    const LineState& any = *std::find_if(state.lines.begin(), state.lines.end(), [](const LineState& l) { return l.last_start.has_value(); });
    if (std::none_of(state.lines.begin(), state.lines.end(), [](const LineState& l) { return is_on(l, LineIssue::missed); }))
      raise(state.missed, std::nullopt, any, {{Cause::power_lost, 0.55}, {Cause::settings_changed, 0.35}, {Cause::link_lost, 0.10}});
    return;
  }
  for (std::size_t i = 0; i < state.lines.size(); ++i) {
    LineState& line = state.lines[i];
    const auto period = period_of(line, state, context);
    if (!line.last_start || !period || state.missed.on) continue;
    const Time from = std::max(*line.last_start, *state.hearing.unbroken_since);
    if (seconds_between(from, station_time) > periods_missed * *period + missed_grace_s)
      raise(held_of(line, LineIssue::missed), static_cast<int>(i) + 1, line,
            {{Cause::settings_changed, 0.45}, {Cause::changeover_leaking, 0.35}, {Cause::power_lost, 0.20}});
  }
}

void turn_came(StationState& state, LineState& line, int number, Time judged, std::vector<Judgement>& out) {
  const auto let_go = [&](Held& held, std::optional<int> n) {
    if (!held.on) return;
    held = {};
    Finding f = finding_of(Condition::missed_turn, n, judged, held, "the turns come again");
    f.causes = {{Cause::power_lost, 1.0}};
    out.push_back(std::move(f));
  };
  let_go(state.missed, std::nullopt);
  let_go(held_of(line, LineIssue::missed), number);
}

}  // namespace driftline::rules
