#include <algorithm>

#include "gateway/web/body.h"
#include "gateway/web/events.h"
#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"
#include "rules/records/names.h"

namespace driftline::web {
Or<WarningKey> key_of_path(House& house, const Request& request) {
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto line = line_of_place(request.named.at("place"));
  const auto condition = condition_named(request.named.at("condition"));
  if (!line || !condition) return problem(404, "there is no such warning", "path", "key of GET /api/v1/warnings");
  return WarningKey{*station, *line, *condition};
}

Or<WarningView> find_warning(House& house, Reader& reader, const WarningKey& key) {
  const Time now = house.parts.wall();
  const auto all = warnings_of(reader, key.station, time_from_ms(0), now);
  if (!all) return of_trouble(all.error());
  const auto found = std::find_if(all->begin(), all->end(), [&](const WarningView& w) { return key_of(w.last) == key; });
  if (found == all->end()) return problem(404, "this was never warned of", "path", "key of GET /api/v1/warnings");
  return *found;
}

namespace {

Or<history::Act> read_act(House& house, const Request& request, const WarningKey& key) {
  const auto fields = read_body(request.body, {"act", "note", "until_ms", "raised_ms", "by"});
  if (!fields) return tl::unexpected(fields.error());
  const auto named = fields->text("act", 1, 64);
  if (!named) return tl::unexpected(named.error());
  const auto what = rules::act_named(named->value_or(""));
  if (!what) return problem(400, "it is not known here", "body /act", "acknowledge, shelve, unshelve, reset, take-out-of-service, return-to-service or note");
  const auto note = fields->text("note", 0, note_characters_max);
  if (!note) return tl::unexpected(note.error());
  const auto until = fields->number("until_ms", 0, 253'402'300'799'999);
  if (!until) return tl::unexpected(until.error());
  const auto raised = fields->number("raised_ms", 0, 253'402'300'799'999);
  if (!raised) return tl::unexpected(raised.error());
  const auto by = fields->text("by", 1, name_characters_max);
  if (!by) return tl::unexpected(by.error());
  const auto who = acting(house, request, *by);
  if (!who) return tl::unexpected(who.error());
  if (*what == rules::LifeEvent::note && note->value_or("").empty()) return problem(400, "a note has words", "body /note", "text of 1 to 500 characters");
  history::Act act;
  act.time = house.parts.wall();
  act.warning = {key.station, key.line, key.condition};
  act.what = *what;
  act.who = *who;
  act.why = note->value_or("");
  act.via = "page";
  if (*until) act.until = time_from_ms(**until);
  if (*raised) act.raised = time_from_ms(**raised);
  return act;
}

// Doing a thing twice is no mistake.
Or<void> as_done(const history::ActOutcome& outcome) {
  using rules::ActAnswer;
  switch (outcome.answer) {
    case ActAnswer::done:
    case ActAnswer::already: return {};
    case ActAnswer::not_open:
    case ActAnswer::acknowledge_first:
    case ActAnswer::another_raise: return problem(409, outcome.text, "", "look at the warning as it is now");
    case ActAnswer::end_missing:
    case ActAnswer::end_past:
    case ActAnswer::end_too_far: return problem(400, outcome.text, "body /until_ms", "a moment ahead, as far as the urgency allows");
    case ActAnswer::unknown_warning: return problem(404, outcome.text, "path", "key of GET /api/v1/warnings");
    case ActAnswer::unfit_text:
    case ActAnswer::request_used: return problem(400, outcome.text, "body", "plain text");
  }
  return {};
}

Answer warnings_csv(const std::vector<WarningView>& warnings) {
  std::string out = "site,station,line,condition,urgency,life,owner,raised,changed,cleared,limit_at,limit_at_earliest,limit_at_latest,cause,text\r\n";
  for (const WarningView& w : warnings) {
    append_csv(out, w.last.station.site);
    append_csv(out, w.last.station.station);
    append_csv(out, w.last.line ? std::to_string(*w.last.line) : std::string{});
    append_csv(out, name_of(w.last.condition));
    append_csv(out, name_of(w.last.urgency));
    append_csv(out, w.life);
    append_csv(out, w.owner);
    append_csv(out, w.raised);
    append_csv(out, w.last.time);
    append_csv(out, w.cleared);
    append_csv(out, w.last.forecast.limit_at);
    append_csv(out, w.last.forecast.limit_at_earliest);
    append_csv(out, w.last.forecast.limit_at_latest);
    append_csv(out, w.last.causes.empty() ? std::string_view{} : name_of(w.last.causes.front().cause));
    append_csv(out, w.last.text, true);
  }
  return csv_answer(std::move(out), "warnings.csv");
}

}  // namespace

Or<Answer> warnings_list(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"state", "site", "limit", "format"}); !known) return tl::unexpected(known.error());
  const auto state = one_of(request.query, "state", {"open", "unanswered", "cleared", "all"}, "open");
  if (!state) return tl::unexpected(state.error());
  const auto limit = whole_number(request.query, "limit", 1, warnings_read_max, 500);
  if (!limit) return tl::unexpected(limit.error());
  const auto format = one_of(request.query, "format", {"json", "csv"}, "json");
  if (!format) return tl::unexpected(format.error());
  const auto site = request.query.find("site");
  auto all = *state == "cleared" || *state == "all" ? all_warnings(*reader, house.parts.wall() - std::chrono::hours{24 * strip_days}) : open_warnings(*reader);
  if (!all) return of_trouble(all.error());
  std::erase_if(*all, [&](const WarningView& w) {
    return (site != request.query.end() && w.last.station.site != site->second) || (*state == "unanswered" && w.answered) || (*state == "cleared" && w.open);
  });
  std::sort(all->begin(), all->end(), worse);
  const bool more = all->size() > static_cast<std::size_t>(*limit);
  if (more) all->resize(static_cast<std::size_t>(*limit));
  if (*format == "csv") return warnings_csv(*all);
  for (WarningView& w : *all)
    if (const auto told = add_acts(*reader, w); !told) return of_trouble(told.error());
  const auto fleet = house.fleet.now();
  JsonText json;
  json.open('{').put("now_ms", house.parts.wall()).put("as_of_ms", fleet->as_of).put("revision", fleet->revision).key("warnings").open('[');
  for (const WarningView& w : *all) put(json, w);
  json.close(']').put("more", more).close('}');
  return json_answer(json);
}

Or<Answer> warning_one(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto key = key_of_path(house, request);
  if (!key) return tl::unexpected(key.error());
  const auto warning = find_warning(house, *reader, *key);
  if (!warning) return tl::unexpected(warning.error());
  JsonText json;
  put(json, *warning);
  return json_answer(json);
}

Or<Answer> warning_act(House& house, const Request& request, Reader* reader) {
  const auto key = key_of_path(house, request);
  if (!key) return tl::unexpected(key.error());
  const auto act = read_act(house, request, *key);
  if (!act) return tl::unexpected(act.error());
  const auto outcome = house.parts.history->act(*act);
  if (!outcome) return of_trouble(outcome.error());
  if (const auto done = as_done(*outcome); !done) return tl::unexpected(done.error());
  const auto warning = find_warning(house, *reader, *key);
  if (!warning) return tl::unexpected(warning.error());
  if (outcome->answer == rules::ActAnswer::done) {
    events::acted(name_of(act->what), text_of(*key), act->who);
    house.fleet.look_again();
  }
  JsonText json;
  put(json, *warning);
  return json_answer(json);
}

}  // namespace driftline::web
