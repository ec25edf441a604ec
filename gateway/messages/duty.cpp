#include "gateway/messages/duty.h"

#include <date/tz.h>

#include <algorithm>

#include "rules/records/names.h"

namespace driftline::messages {
namespace {

const date::time_zone* zone_named(const std::string& zone) {
  try {
    return date::locate_zone(zone);
  } catch (const std::exception&) {
    return nullptr;
  }
}

const date::time_zone* sure_zone(const std::string& zone) {
  const date::time_zone* found = zone_named(zone);
  return found != nullptr ? found : zone_named("UTC");
}

int floor_div(int a, int b) { return a >= 0 ? a / b : -((-a + b - 1) / b); }

int day_number(int year, int month, int day) {
  return static_cast<int>(
      std::chrono::sys_days(std::chrono::year{year} / month / day).time_since_epoch().count());
}

template <class Set, class Value>
bool allows(const Set& set, const Value& value) {
  return set.empty() || set.contains(value);
}

// Why a line does not fit; empty: it does.
std::string misfit(const DutyList& duty, const Line& line, const history::WarningRef& warning, Urgency urgency, Time now) {
  if (!allows(line.sites, warning.station.site)) return "is for other sites";
  if (!allows(line.stations, warning.station.station)) return "is for other stations";
  if (!allows(line.conditions, warning.condition)) return "is for other conditions";
  if (urgency < line.urgency) return "begins at " + std::string(name_of(line.urgency));
  if (line.hours && !within(*line.hours, local_of(now, zone_of(duty, warning.station.site)))) return "is for other hours";
  return {};
}

}  // namespace

bool zone_known(const std::string& zone) { return zone_named(zone) != nullptr; }

Local local_of(Time time, const std::string& zone) {
  const auto local = sure_zone(zone)->to_local(std::chrono::floor<std::chrono::minutes>(time));
  const auto midnight = date::floor<date::days>(local);
  const date::year_month_day ymd{midnight};
  const date::weekday weekday{midnight};
  return {static_cast<int>(ymd.year()), static_cast<int>(static_cast<unsigned>(ymd.month())), static_cast<int>(static_cast<unsigned>(ymd.day())),
          static_cast<int>(std::chrono::duration_cast<std::chrono::minutes>(local - midnight).count()),
          static_cast<int>(weekday.iso_encoding()) - 1};
}

bool within(const Hours& hours, const Local& local) {
  const auto day = static_cast<std::size_t>(local.weekday);
  if (hours.from_min < hours.to_min) return hours.days[day] && local.minute >= hours.from_min && local.minute < hours.to_min;
  if (local.minute >= hours.from_min) return hours.days[day];
  return local.minute < hours.to_min && hours.days[(day + 6) % 7];
}

// By the minute, so that a night whose clock is set is as long as it is.
std::optional<Time> quiet_until(const DutyList& duty, Time now, const std::string& zone) {
  if (!duty.quiet || !within(*duty.quiet, local_of(now, zone))) return std::nullopt;
  Time at = std::chrono::floor<std::chrono::minutes>(now);
  for (int i = 0; i < 8 * 24 * 60; ++i) {
    at += std::chrono::minutes{1};
    if (!within(*duty.quiet, local_of(at, zone))) return at;
  }
  return std::nullopt;  // it is always quiet: that is no quiet
}

const std::string& zone_of(const DutyList& duty, const std::string& site) {
  const auto found = duty.zones.find(site);
  return found == duty.zones.end() ? duty.zone : found->second;
}

Units units_of(const DutyList& duty, const std::string& site) {
  const auto found = duty.site_units.find(site);
  return found == duty.site_units.end() ? duty.units : found->second;
}

std::string grease_of(const DutyList& duty, const StationId& station) {
  for (const std::string& name : {station.site + "/" + station.station, station.site})
    if (const auto found = duty.grease.find(name); found != duty.grease.end()) return found->second;
  return {};
}

std::string person_on(const DutyList& duty, const std::string& name, Time now) {
  if (duty.people.contains(name)) return name;
  const auto found = duty.rotas.find(name);
  if (found == duty.rotas.end() || found->second.people.empty()) return {};
  const Rota& rota = found->second;
  const Local local = local_of(now, duty.zone);
  int days = day_number(local.year, local.month, local.day) - day_number(rota.year, rota.month, rota.day);
  if (local.minute < rota.minute) --days;
  const int turn = floor_div(days, std::max(1, rota.days));
  const int count = static_cast<int>(rota.people.size());
  return rota.people[static_cast<std::size_t>(((turn % count) + count) % count)];
}

Choice choose(const DutyList& duty, const history::WarningRef& warning, Urgency urgency, Time now) {
  Choice choice;
  for (const Line& line : duty.lines) {
    if (const std::string why = misfit(duty, line, warning, urgency, now); !why.empty()) {
      choice.why.push_back("\"" + line.name + "\" " + why);
      continue;
    }
    choice.why.push_back("\"" + line.name + "\" fits");
    choice.line = &line;
    for (const std::string& name : line.tell)
      if (std::string person = person_on(duty, name, now); !person.empty()) choice.people.push_back(std::move(person));
    return choice;
  }
  if (urgency == Urgency::act) {
    choice.why.push_back("no line fits, and an act goes to somebody: everybody is told");
    for (const auto& [name, person] : duty.people) choice.people.push_back(name);
  } else {
    choice.why.push_back("no line fits: the daily digest tells it");
  }
  return choice;
}

}  // namespace driftline::messages
