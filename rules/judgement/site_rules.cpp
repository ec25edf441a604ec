// Findings of a site's stations -> warning changes and daily forecasts.
//
// The station's rules already hold a condition until it is calm (rules/warnings/held.h), so a warning here is a plain state:
// raised with the first finding that holds, its urgency followed, cleared with the first that does not.
//
// What a site's stations do at once is judged here. Two other stations that
//   - show the same condition, raised within 1.5 days (what one front of weather does), or another of those that cold grease
//     brings, put down to it; or
//   - fell silent within half an hour of each other's last word (each is told only after its own habit of silence, hours apart)
// have a cause in common: weather, or the link of the site, become three times as likely with each station, at most 30 times.
// The row of each station then carries that cause first and says how many others are alike; who sends messages has one of them
// to send for the site, with the stations in it. Rows told before the others joined are not told again.
#include <algorithm>
#include <cmath>

#include "rules/diagnosis/diagnosis.h"
#include "rules/judgement/site_state.h"
#include "rules/judgement/station_rules.h"
#include "rules/warnings/text.h"

namespace driftline::rules {
namespace {

constexpr double together_days = 1.5;   // weather strikes a site's stations within this
constexpr double silent_together_s = 1800;  // slow reports apart
constexpr int together_least = 2;       // other stations
constexpr double cold_factor = 3;       // a station more of the same at once makes a common cause likelier by this
constexpr double factor_most = 30;

WarningKey key_of(const StationId& station, const Finding& f) {
  return {station.station, static_cast<std::uint8_t>(f.line.value_or(0)), f.condition};
}

bool looks_ahead(Condition condition) {
  return condition == Condition::slow_to_pressure || condition == Condition::residual_pressure || condition == Condition::slow_vent ||
         condition == Condition::short_reservoir_life || condition == Condition::reservoir_low;
}

bool brought_by_cold(Condition condition) {
  return condition == Condition::slow_to_pressure || condition == Condition::slow_vent || condition == Condition::residual_pressure ||
         condition == Condition::pressure_not_reached;
}

std::optional<Time> since_of(const Finding& f) { return f.shift ? f.shift->since : std::nullopt; }

bool is_alike(const WarningKey& key, const OpenWarning& open, const Finding& f) {
  if (f.condition == Condition::station_silent) {
    const auto since = since_of(f);
    return key.condition == f.condition && since && open.since && std::abs(seconds_between(*open.since, *since)) <= silent_together_s;
  }
  const bool same = key.condition == f.condition ||
                    (brought_by_cold(f.condition) && brought_by_cold(key.condition) && open.first_cause == Cause::stiff_grease);
  return same && std::abs(days_between(open.raised, f.time)) <= together_days;
}

// Other stations that show the same at once.
int alike_stations(const SiteState& state, const StationId& station, const Finding& f) {
  int count = 0;
  const std::string* last = nullptr;
  for (const auto& [key, open] : state.open) {
    if (key.station == station.station || (last && *last == key.station) || !is_alike(key, open, f)) continue;
    last = &key.station;
    ++count;
  }
  return count;
}

std::vector<WeightedCause> with_the_site(std::vector<WeightedCause> causes, Condition condition, int alike) {
  if (alike < together_least) return causes;
  const double factor = std::min(factor_most, std::pow(cold_factor, alike - together_least + 1));
  for (WeightedCause& c : causes) {
    const bool weather = c.cause == Cause::stiff_grease && condition != Condition::station_silent;
    const bool link = c.cause == Cause::link_lost && condition == Condition::station_silent;
    if (weather || link) c.weight *= factor;
  }
  return ranked(std::move(causes));
}

Time midnight_before(Time time) { return time_from_ms(ms_since_1970(time) / 86400000 * 86400000); }
Time next_midnight(Time time) { return time_from_ms((ms_since_1970(time) / 86400000 + 1) * 86400000); }

void write_days(SiteState& state, Time until, std::vector<SiteOutput>& out) {
  const bool any = std::any_of(state.open.begin(), state.open.end(), [](const auto& w) { return looks_ahead(w.first.condition); });
  if (!state.day_done || !any) {
    state.day_done = midnight_before(until);
    return;
  }
  while (later_by_days(*state.day_done, 1) <= until) {
    const Time date = *state.day_done;  // the day that is now over
    state.day_done = later_by_days(date, 1);
    for (const auto& [key, open] : state.open) {
      if (!looks_ahead(key.condition)) continue;
      ForecastDay day;
      day.date = date;
      day.station = {state.site, key.station};
      if (key.line > 0) day.line = key.line;
      day.condition = key.condition;
      day.forecast = open.forecast;
      out.push_back(day);
    }
  }
}
}  // namespace

void judge(SiteState& state, const StationId& station, const Finding& finding, Time received, std::vector<SiteOutput>& out) {
  state.site = station.site;
  write_days(state, received, out);
  const WarningKey key = key_of(station, finding);
  const auto found = state.open.find(key);
  const bool was_open = found != state.open.end();
  if (!finding.holds && !was_open) return;

  const int alike = alike_stations(state, station, finding);
  WarningChange change;
  change.time = finding.time;
  change.station = station;
  change.line = finding.line;
  change.condition = finding.condition;
  change.urgency = finding.urgency;
  change.causes = with_the_site(finding.causes, finding.condition, alike);
  change.evidence = finding.evidence;
  change.forecast = finding.forecast;
  change.shift = finding.shift;
  if (!finding.holds) {
    change.change = Change::cleared;
    change.urgency = found->second.urgency;
    state.open.erase(found);
  } else if (!was_open) {
    change.change = Change::raised;
    state.open[key] = {.raised = finding.time, .last = finding.time, .urgency = finding.urgency, .forecast = finding.forecast,
                       .first_cause = change.causes.empty() ? std::nullopt : std::optional(change.causes[0].cause), .since = since_of(finding)};
  } else {
    OpenWarning& open = found->second;
    open.last = finding.time;
    open.forecast = finding.forecast;
    if (open.urgency == finding.urgency) return;
    change.change = Change::urgency_changed;
    open.urgency = finding.urgency;
  }
  Finding told = finding;
  told.urgency = change.urgency;
  told.causes = change.causes;
  change.text = text_of(station, told, change.change, alike);
  out.emplace_back(std::move(change));
}

std::optional<Time> wake_at(const SiteState& state) {
  if (!state.day_done) return std::nullopt;
  const bool any = std::any_of(state.open.begin(), state.open.end(), [](const auto& w) { return looks_ahead(w.first.condition); });
  if (!any) return std::nullopt;
  return next_midnight(*state.day_done);
}

void advance_to(SiteState& state, Time now, std::vector<SiteOutput>& out) { write_days(state, now, out); }

}  // namespace driftline::rules
