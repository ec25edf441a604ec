#include <algorithm>
#include <vector>

#include "gateway/history/tables.h"
#include "gateway/telemetry/json_text.h"
#include "rules/records/names.h"

namespace driftline::history {
namespace {

using rules::ActAnswer;
using rules::Life;
using rules::LifeEvent;

LifeEvent event_of(Change change) {
  switch (change) {
    case Change::raised: return LifeEvent::raised;
    case Change::urgency_changed: return LifeEvent::urgency_changed;
    case Change::cleared: return LifeEvent::cleared;
  }
  return LifeEvent::note;
}

// Code points of well-formed text without controls; empty: it is not that. A reason may have line ends.
std::optional<std::size_t> plain_characters(std::string_view text, bool lines_allowed) {
  std::size_t count = 0;
  for (; !text.empty(); ++count) {
    const auto first = static_cast<unsigned char>(text.front());
    if (first == 0x7F || (first < 0x20 && !(lines_allowed && first == '\n'))) return std::nullopt;
    const std::size_t length = utf8_length(text);
    if (length == 0) return std::nullopt;
    text.remove_prefix(length);
  }
  return count;
}

bool fit(const Act& act) {
  const auto who = plain_characters(act.who, false);
  const auto why = plain_characters(act.why, true);
  if (!who || *who == 0 || *who > who_characters_max) return false;
  if (!why || *why > why_characters_max) return false;
  return act.what != LifeEvent::note || *why > 0;
}

bool is_request(std::string_view id) {
  return id.size() <= request_characters_max && std::all_of(id.begin(), id.end(), [](char c) { return c > 0x20 && c < 0x7F; });
}

bool same_act(const LifeChange& row, const Act& act) {
  return row.warning == act.warning && row.event == act.what && row.who == act.who && row.why == act.why && row.until == act.until;
}

}  // namespace

struct LifeTable::Cause {
  std::string who{};
  std::string why{};
  std::string via{};
  std::optional<Time> until{};
  std::string request{};
};

LifeChangeTable::LifeChangeTable(Database& database)
    : insert(database.prepare("INSERT INTO life_changes (time, station_no, line, condition, event, before, after, urgency,"
                              " raised, who, why, via, owner, until, warning_id, request) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)")) {}

void LifeChangeTable::put(std::int64_t station_no, const LifeChange& row) {
  insert.run(row.time, station_no, row.warning.line.value_or(0), name_of(row.warning.condition), name_of(row.event),
             name_of(row.before), name_of(row.after), name_of(row.urgency), row.raised, row.who, row.why, row.via, row.owner,
             row.until, row.warning_id, row.request);
}

const char* const LifeChangeTable::select =
    "SELECT life_changes.id, time, site, station, line, condition, event, before, after, urgency, raised, who, why, via, owner,"
    " until, warning_id, request FROM life_changes CROSS JOIN stations ON no = life_changes.station_no ";

Stored<LifeChange> LifeChangeTable::take(Statement& from) {
  Stored<LifeChange> stored;
  LifeChange& row = stored.row;
  int line = 0;
  std::string condition, event, before, after, urgency;
  from.take_all(stored.id, row.time, row.warning.station.site, row.warning.station.station, line, condition, event, before,
                after, urgency, row.raised, row.who, row.why, row.via, row.owner, row.until, row.warning_id, row.request);
  if (line > 0) row.warning.line = line;
  row.warning.condition = named<Condition>(condition, condition_count);
  row.event = named<LifeEvent>(event, rules::life_event_count);
  row.before = named<rules::LifeState>(before, rules::life_state_count);
  row.after = named<rules::LifeState>(after, rules::life_state_count);
  row.urgency = named<Urgency>(urgency, 3);
  return stored;
}

namespace {
constexpr const char* life_columns =
    "active, acknowledged, latched, lives.urgency, raised, owner, shelf_until, shelf_who, shelf_urgency, suppressed,"
    " out_of_service_by, lives.warning_id";

std::int64_t take_life(Statement& from, Life& life) {
  std::string urgency;
  std::optional<Time> until;
  std::optional<std::string> who, shelf_urgency;
  std::int64_t warning_id = 0;
  from.take_all(life.active, life.acknowledged, life.latched, urgency, life.raised, life.owner, until, who, shelf_urgency,
                life.suppressed, life.out_of_service_by, warning_id);
  life.urgency = named<Urgency>(urgency, 3);
  if (until) life.shelf = rules::Shelf{*until, who.value_or(""), named<Urgency>(shelf_urgency.value_or("notice"), 3)};
  return warning_id;
}
}  // namespace

LifeTable::LifeTable(Database& database)
    : find_(database.prepare(std::string("SELECT ") + life_columns +
                             " FROM lives WHERE station_no = ? AND line = ? AND condition = ?")),
      set_(database.prepare("INSERT OR REPLACE INTO lives VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)")),
      remove_(database.prepare("DELETE FROM lives WHERE station_no = ? AND line = ? AND condition = ?")),
      changes_(database) {}

const char* const LifeTable::select =
    "SELECT lives.active, lives.acknowledged, lives.latched, lives.urgency, lives.raised, lives.owner, shelf_until, shelf_who,"
    " shelf_urgency, suppressed, out_of_service_by, lives.warning_id,"
    " w.id, w.time, site, station, w.line, w.condition, w.urgency, change, causes, limit_at,"
    " limit_at_earliest, limit_at_latest, figure, figure_value, figure_usual, figure_spread, figure_limit,"
    " figure_since, figure_turns, text, evidence FROM lives JOIN stations ON no = lives.station_no"
    " JOIN warnings w ON w.id = lives.warning_id ";

Stored<LifeRow> LifeTable::take(Statement& from) {
  Stored<LifeRow> stored;
  (void)take_life(from, stored.row.life);
  Stored<WarningChange> last = WarningTable::take(from);
  stored.id = last.id;
  stored.row.last = std::move(last.row);
  return stored;
}

std::optional<LifeTable::Found> LifeTable::find(std::int64_t station_no, int line, Condition condition) {
  find_.begin(station_no, line, name_of(condition));
  std::optional<Found> found;
  if (find_.step()) {
    found.emplace();
    found->warning_id = take_life(find_, found->life);
  }
  find_.reset();
  return found;
}

bool LifeTable::is_silent(std::int64_t station_no) {
  const auto silent = find(station_no, 0, Condition::station_silent);
  return silent && silent->life.active;
}

void LifeTable::store(std::int64_t station_no, int line, Condition condition, const Found& found) {
  const Life& life = found.life;
  if (rules::is_plain_normal(life)) return remove_.run(station_no, line, name_of(condition));
  std::optional<Time> until;
  std::optional<std::string> who, urgency;
  if (life.shelf) {
    until = life.shelf->until;
    who = life.shelf->who;
    urgency = std::string(name_of(life.shelf->urgency));
  }
  set_.run(station_no, line, name_of(condition), life.active, life.acknowledged, life.latched, name_of(life.urgency),
           life.raised, life.owner, until, who, urgency, life.suppressed, life.out_of_service_by, found.warning_id);
}

// One step of one life, stored with its row. What the design does is told only where the state changes by it.
ActAnswer LifeTable::apply(std::int64_t station_no, const WarningRef& warning, Found& at,
                           const rules::LifeInput& input, const Cause& cause) {
  const rules::LifeState before = rules::state_of(at.life);
  rules::LifeStep stepped = rules::step(at.life, input, warning.condition, settings);
  if (stepped.answer != ActAnswer::done) return stepped.answer;
  at.life = std::move(stepped.life);
  store(station_no, warning.line.value_or(0), warning.condition, at);
  const rules::LifeState after = rules::state_of(at.life);
  const bool quiet = input.event == LifeEvent::suppress || input.event == LifeEvent::unsuppress;
  if (quiet && before == after) return stepped.answer;
  LifeChange row{.time = input.time, .warning = warning, .event = input.event, .before = before, .after = after,
                 .urgency = at.life.urgency, .raised = at.life.raised, .who = cause.who, .why = cause.why, .via = cause.via,
                 .owner = at.life.owner, .until = cause.until, .warning_id = at.warning_id, .request = cause.request};
  changes_.put(station_no, row);
  return stepped.answer;
}

void LifeTable::take(Database& database, std::int64_t station_no, const WarningChange& change, std::int64_t warning_id) {
  const WarningRef warning = ref_of(change);
  Found at = find(station_no, change.line.value_or(0), change.condition).value_or(Found{});
  at.warning_id = warning_id;
  rules::LifeInput input{.event = event_of(change.change), .time = change.time, .urgency = change.urgency};
  const bool subject = change.condition != Condition::station_silent;
  if (subject && change.change == Change::raised) at.life.suppressed = is_silent(station_no);
  if (apply(station_no, warning, at, input, {}) != ActAnswer::done)
    store(station_no, change.line.value_or(0), change.condition, at);  // the row it points to has changed
  if (!subject && change.change != Change::urgency_changed) spread_silence(database, station_no, change);
}

// A station that falls silent suppresses its other warnings by design, and frees them when it is heard again.
void LifeTable::spread_silence(Database& database, std::int64_t station_no, const WarningChange& change) {
  std::vector<std::pair<int, Condition>> others;
  {
    Statement rows = database.prepare("SELECT line, condition FROM lives WHERE station_no = ? ORDER BY line, condition");
    rows.begin(station_no);
    while (rows.step()) {
      const int line = rows.take<int>();
      others.emplace_back(line, named<Condition>(rows.take<std::string>(), condition_count));
    }
  }
  const bool silent = change.change == Change::raised;
  const rules::LifeInput input{.event = silent ? LifeEvent::suppress : LifeEvent::unsuppress, .time = change.time};
  for (const auto& [line, condition] : others) {
    if (condition == Condition::station_silent) continue;
    auto at = find(station_no, line, condition);
    if (!at) continue;
    const WarningRef warning{change.station, line > 0 ? std::optional{line} : std::nullopt, condition};
    const Cause cause{.why = silent ? "the station is silent" : "the station is heard again", .via = "gateway"};
    (void)apply(station_no, warning, *at, input, cause);
  }
}

std::optional<Stored<LifeChange>> LifeTable::asked_before(Database& database, const std::string& request) {
  if (request.empty()) return std::nullopt;
  Statement found = database.prepare(std::string(LifeChangeTable::select) + "WHERE request = ? AND request <> ''");
  found.begin(request);
  if (!found.step()) return std::nullopt;
  return LifeChangeTable::take(found);
}

ActOutcome LifeTable::take(Database& database, std::optional<std::int64_t> station_no, const Act& act) {
  ActOutcome outcome;
  const auto answer = [&](ActAnswer given) {
    outcome.answer = given;
    outcome.text = rules::answer_text(given, outcome.life);
    return outcome;
  };
  if (!rules::of_people(act.what) || !fit(act) || !is_request(act.request)) return answer(ActAnswer::unfit_text);
  if (!station_no) return answer(ActAnswer::unknown_warning);
  const int line = act.warning.line.value_or(0);
  auto at = find(*station_no, line, act.warning.condition);
  if (const auto before = asked_before(database, act.request)) {
    if (at) outcome.life = at->life;
    if (!same_act(before->row, act)) return answer(ActAnswer::request_used);
    outcome.repeated = true;
    outcome.change_id = before->id;
    return answer(ActAnswer::done);
  }
  if (!at) {  // plainly normal, if it was ever raised
    Statement last = database.prepare("SELECT id, time, urgency FROM warnings WHERE station_no = ? AND coalesce(line, 0) = ? AND condition = ?"
                                      " ORDER BY id DESC LIMIT 1");
    last.begin(*station_no, line, name_of(act.warning.condition));
    if (!last.step()) return answer(ActAnswer::unknown_warning);
    at.emplace();
    at->warning_id = last.take<std::int64_t>();
    at->life.raised = last.take<Time>();
    at->life.urgency = named<Urgency>(last.take<std::string>(), 3);
    if (act.raised) return answer(ActAnswer::not_open);
  }
  outcome.life = at->life;
  if (act.raised && *act.raised != at->life.raised) return answer(ActAnswer::another_raise);
  const rules::LifeInput input{.event = act.what, .time = act.time, .who = act.who, .until = act.until};
  const Cause cause{.who = act.who, .why = act.why, .via = act.via, .until = act.until, .request = act.request};
  const ActAnswer given = apply(*station_no, act.warning, *at, input, cause);
  if (given == ActAnswer::done) outcome.change_id = database.last_id();
  outcome.life = at->life;
  return answer(given);
}

void LifeTable::end_shelves(Database& database, Time now) {
  struct Due {
    std::int64_t station_no;
    StationId station;
    int line;
    std::string condition;
    Time until;
  };
  std::vector<Due> all;
  {
    Statement rows = database.prepare(
        "SELECT station_no, site, station, line, condition, shelf_until FROM lives JOIN stations ON no = station_no"
        " WHERE shelf_until <= ? ORDER BY site, station, line, condition");
    rows.begin(now);
    while (rows.step()) {
      Due& due = all.emplace_back();
      rows.take_all(due.station_no, due.station.site, due.station.station, due.line, due.condition, due.until);
    }
  }
  for (const Due& due : all) {
    const Condition condition = named<Condition>(due.condition, condition_count);
    auto at = find(due.station_no, due.line, condition);
    if (!at) continue;
    const WarningRef warning{due.station, due.line > 0 ? std::optional{due.line} : std::nullopt, condition};
    const Cause cause{.why = "the shelf has come to its end", .via = "gateway"};
    (void)apply(due.station_no, warning, *at, {.event = LifeEvent::shelf_ended, .time = due.until}, cause);
  }
}

}  // namespace driftline::history
