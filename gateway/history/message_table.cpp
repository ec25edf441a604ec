#include <array>

#include "gateway/history/limits.h"
#include "gateway/history/tables.h"
#include "rules/records/names.h"

namespace driftline::history {
namespace {
constexpr std::array<std::string_view, message_kind_count> kinds{"news", "reminder", "taken", "over", "digest", "gateway"};
constexpr std::array<std::string_view, message_state_count> states{"waiting", "sent", "refused", "dropped", "unsure"};
}  // namespace

std::string_view name_of(MessageKind kind) {
  const auto i = static_cast<std::size_t>(kind);
  return i < kinds.size() ? kinds[i] : std::string_view{};
}
std::string_view name_of(MessageState state) {
  const auto i = static_cast<std::size_t>(state);
  return i < states.size() ? states[i] : std::string_view{};
}

MessageTable::MessageTable(Database& database)
    : insert(database.prepare("INSERT OR IGNORE INTO messages (key, made, due, person, channel, address, kind, step, site, station, line,"
                              " condition, urgency, raised, warning_id, subject, body, state, tries, unsure, next_try, sent, sending,"
                              " answer) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,'waiting',0,0,?,NULL,0,'')")),
      begin(database.prepare("UPDATE messages SET tries = tries + 1, unsure = unsure + 1, sending = ? WHERE id = ? AND state = 'waiting'")),
      end(database.prepare("UPDATE messages SET state = ?, unsure = max(0, unsure + ?), next_try = ?, sent = ?, answer = ? WHERE id = ?")) {}

void MessageTable::put(const MessageRow& row) {
  std::optional<std::string> site, station, condition;
  std::optional<int> line;
  if (row.warning) {
    site = row.warning->station.site;
    station = row.warning->station.station;
    line = row.warning->line.value_or(0);
    condition = std::string(name_of(row.warning->condition));
  }
  insert.run(row.key, row.made, row.due, row.person, row.channel, row.address, name_of(row.kind), row.step, site, station, line, condition,
             name_of(row.urgency), row.raised, row.warning_id, row.subject, row.body, row.due);
}

const char* const MessageTable::select =
    "SELECT id, key, made, due, person, channel, address, kind, step, site, station, line, condition, urgency, raised, warning_id,"
    " subject, body, state, tries, unsure, next_try, sent, sending, answer FROM messages ";

Stored<KeptMessage> MessageTable::take(Statement& from) {
  Stored<KeptMessage> stored;
  MessageRow& row = stored.row.row;
  MessageProgress& progress = stored.row.progress;
  std::string kind, urgency, state;
  std::optional<std::string> site, station, condition;
  std::optional<int> line;
  from.take_all(stored.id, row.key, row.made, row.due, row.person, row.channel, row.address, kind, row.step, site, station, line, condition,
                urgency, row.raised, row.warning_id, row.subject, row.body, state, progress.tries, progress.unsure, progress.next_try,
                progress.sent, progress.sending, progress.answer);
  row.kind = named<MessageKind>(kind, message_kind_count);
  row.urgency = named<Urgency>(urgency, 3);
  progress.state = named<MessageState>(state, message_state_count);
  if (site && station && condition)
    row.warning = WarningRef{{*site, *station}, line.value_or(0) > 0 ? line : std::nullopt, named<Condition>(*condition, condition_count)};
  return stored;
}

}  // namespace driftline::history
