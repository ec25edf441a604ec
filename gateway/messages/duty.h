// The duty list: who hears of what, when, by which channel. Pure: time comes in, nothing is read.
//
// Hours and days are those of the site's own time zone (the IANA names), with daylight saving as the system's zone data have it.
// Of the lines that fit a warning the first counts. Its `tell` is an order: the first is told at once, the next after
// `after_min` without an acknowledgement, and so on; an `act` goes round `act_rounds` times. Quiet hours hold `plan` and
// `notice` back until they end; nothing holds an `act` back, and an `act` that no line fits goes to everybody.
#pragma once

#include <array>
#include <chrono>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "gateway/history/life_rows.h"
#include "gateway/messages/words.h"
#include "rules/records/time.h"
#include "rules/warnings/life.h"

namespace driftline::messages {

// Minutes of a day from midnight; `to` at or before `from` is on the next day, and belongs to the day on which it began.
struct Hours {
  std::array<bool, 7> days{true, true, true, true, true, true, true};  // Monday first
  int from_min = 0;
  int to_min = 24 * 60;
  bool operator==(const Hours&) const = default;
};

struct Person {
  std::string name;
  std::vector<std::pair<std::string, std::string>> channels;  // "mail" or "webhook NAME", and the address there
  bool operator==(const Person&) const = default;
};

// Hands over every `days` days at the time of day of `first`, in the duty list's zone.
struct Rota {
  std::vector<std::string> people;
  int year = 2026, month = 1, day = 5, minute = 7 * 60;  // of the first hand-over, local
  int days = 7;
  bool operator==(const Rota&) const = default;
};

struct Line {
  std::string name;
  std::set<std::string> sites, stations;  // empty: all
  std::set<Condition> conditions;
  Urgency urgency = Urgency::notice;      // this or more
  std::optional<Hours> hours;
  std::vector<std::string> tell;          // people or rotas
  int after_min = 15;
  bool operator==(const Line&) const = default;
};

struct MailSettings {
  std::string server;  // host:port
  std::string from;
  std::string user;
  std::optional<std::string> password_file;
  std::optional<std::string> ca_file;
  bool operator==(const MailSettings&) const = default;
};
struct WebhookSettings {
  std::string url;
  std::string key_file;  // of the signature
  std::optional<std::string> ca_file;
  bool operator==(const WebhookSettings&) const = default;
};

struct Units {
  bool psi = false;         // else bar
  bool fahrenheit = false;  // else C
  bool operator==(const Units&) const = default;
};

struct DutyList {
  std::string zone = "UTC";
  std::map<std::string, std::string> zones;  // by site
  std::map<std::string, Person> people;
  std::map<std::string, Rota> rotas;
  std::vector<Line> lines;
  std::optional<Hours> quiet;
  int digest_min = 6 * 60 + 30;
  std::vector<std::string> digest_to;        // people or rotas; they also hear what the gateway says of itself
  std::optional<MailSettings> mail;
  std::map<std::string, WebhookSettings> webhooks;
  std::string page_url;
  Units units;
  std::map<std::string, Units> site_units;
  std::map<std::string, std::string> grease;  // its kind, by site or SITE/STATION
  Words words;
  rules::LifeSettings life;
  bool operator==(const DutyList&) const = default;
};

inline constexpr int act_rounds = 3;  // then it has been said often enough by this way; the digest goes on

[[nodiscard]] bool zone_known(const std::string& zone);
// Wall clock of a zone at a moment.
struct Local {
  int year, month, day, minute, weekday;  // Monday 0
};
[[nodiscard]] Local local_of(Time time, const std::string& zone);
[[nodiscard]] bool within(const Hours& hours, const Local& local);
// The moment at which quiet hours that hold now are over; empty: it is not quiet.
[[nodiscard]] std::optional<Time> quiet_until(const DutyList& duty, Time now, const std::string& zone);
[[nodiscard]] const std::string& zone_of(const DutyList& duty, const std::string& site);
[[nodiscard]] Units units_of(const DutyList& duty, const std::string& site);
[[nodiscard]] std::string grease_of(const DutyList& duty, const StationId& station);  // empty: not known
// Who of the rota, or the person of that name. Empty: no such name.
[[nodiscard]] std::string person_on(const DutyList& duty, const std::string& name, Time now);

// Which line counts, and what it says; for planning and for `driftline check --who`.
struct Choice {
  const Line* line = nullptr;       // none: see `why`
  std::vector<std::string> people;  // in the order of telling, as it is on duty at `now`
  std::vector<std::string> why;     // one sentence a line that was looked at
};
[[nodiscard]] Choice choose(const DutyList& duty, const history::WarningRef& warning, Urgency urgency, Time now);

}  // namespace driftline::messages
