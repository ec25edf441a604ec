#include <algorithm>

#include "gateway/web/body.h"
#include "gateway/web/events.h"
#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/rows_json.h"
#include "gateway/web/target.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

namespace driftline::web {
namespace {

struct NoteAsked {
  ServiceKind kind = ServiceKind::refilled;
  std::optional<int> line;
  std::string note;
  Time time{};
  std::string by;
};

Or<NoteAsked> read_note(House& house, const Request& request) {
  const auto fields = read_body(request.body, {"kind", "line", "note", "time_ms", "by"});
  if (!fields) return tl::unexpected(fields.error());
  const auto kind = fields->text("kind", 1, 64);
  if (!kind) return tl::unexpected(kind.error());
  const auto named = service_kind_named(kind->value_or(""));
  if (!named) return problem(400, "it is not known here", "body /kind", "refilled, repaired, purged, settings-changed, out-of-service or back-in-service");
  const auto line = fields->number("line", 1, lines_max);
  if (!line) return tl::unexpected(line.error());
  const auto note = fields->text("note", 0, note_characters_max);
  if (!note) return tl::unexpected(note.error());
  const Time now = house.parts.wall();
  const auto time = fields->number("time_ms", ms_since_1970(now - note_back_max), ms_since_1970(now + std::chrono::minutes{5}));
  if (!time) return tl::unexpected(time.error());
  const auto by = fields->text("by", 1, name_characters_max);
  if (!by) return tl::unexpected(by.error());
  const auto who = acting(house, request, *by);
  if (!who) return tl::unexpected(who.error());
  NoteAsked asked;
  asked.kind = *named;
  if (*line) asked.line = static_cast<int>(**line);
  asked.note = note->value_or("");
  asked.time = *time ? time_from_ms(**time) : now;
  asked.by = *who;
  return asked;
}

std::string payload_of(const NoteAsked& asked) {
  JsonText json;
  json.open('{').put("time", rfc3339(asked.time)).put("kind", name_of(asked.kind));
  if (asked.line) json.put("line", *asked.line);
  if (!asked.note.empty()) json.put("note", asked.note);
  json.put("by", asked.by).close('}');
  return json.take();
}

}  // namespace

Or<Answer> station_notes(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {}); !known) return tl::unexpected(known.error());
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const Time now = house.parts.wall();
  const auto notes = reader->service_notes_between(*station, {time_from_ms(0), now + std::chrono::hours{24 * 366}}, days_read_max);
  if (!notes) return of_trouble(notes.error());
  JsonText json;
  json.open('{').key("notes").open('[');
  const std::size_t told = std::min<std::size_t>(notes->size(), notes_told_max);
  for (std::size_t i = 0; i < told; ++i) put(json, (*notes)[notes->size() - 1 - i].row);
  json.close(']').close('}');
  return json_answer(json);
}

Or<Answer> station_note(House& house, const Request& request, Reader*) {
  const auto station = station_of(house, request);
  if (!station) return tl::unexpected(station.error());
  const auto asked = read_note(house, request);
  if (!asked) return tl::unexpected(asked.error());
  const std::string on = station->site + "/" + station->station;
  if (!house.parts.post(house.parts.telemetry_root + "/" + on + "/service", payload_of(*asked)))
    return tl::unexpected(Problem{503, "the journal takes nothing just now: the note is not stored", "", "again in some seconds", 5});
  events::acted(name_of(asked->kind), on, asked->by);
  JsonText json;
  json.open('{').put("accepted_ms", house.parts.wall()).put("by", asked->by).close('}');
  return json_answer(json, 202);
}

}  // namespace driftline::web
