#include <algorithm>
#include <map>

#include "gateway/web/json_text.h"
#include "gateway/web/limits.h"
#include "gateway/web/resources.h"
#include "gateway/web/target.h"
#include "gateway/web/warning_view.h"
#include "rules/records/names.h"

namespace driftline::web {
namespace {

using Kept = history::Stored<history::KeptMessage>;

struct ChannelNow {
  int due = 0;
  std::optional<Time> oldest_due, last_sent;
  int refused = 0, unsure = 0;
  std::string answer;  // the last one of a message that is not through
};

// Of each channel that the duty list or a message names.
std::map<std::string, ChannelNow> channels_of(const std::vector<Kept>& messages, const std::vector<std::string>& named, Time now) {
  std::map<std::string, ChannelNow> all;
  for (const std::string& name : named) all[name];
  for (const Kept& kept : messages) {
    const auto& [row, progress] = kept.row;
    ChannelNow& channel = all[row.channel];
    if (progress.sent) channel.last_sent = std::max(channel.last_sent.value_or(*progress.sent), *progress.sent);
    if (progress.state == history::MessageState::refused) ++channel.refused;
    if (progress.state == history::MessageState::unsure) ++channel.unsure;
    const bool due = progress.state == history::MessageState::waiting && row.due <= now;
    if (due) {
      ++channel.due;
      channel.oldest_due = std::min(channel.oldest_due.value_or(row.due), row.due);
    }
    if (!progress.answer.empty() && (due || progress.state == history::MessageState::refused)) channel.answer = progress.answer;
  }
  return all;
}

std::string key_text(const std::optional<history::WarningRef>& warning) {
  return warning ? text_of(WarningKey{warning->station, warning->line, warning->condition}) : std::string{};
}

// Without addresses: whoever may read the plant need not read people's numbers.
void put(JsonText& json, const Kept& kept) {
  const auto& [row, progress] = kept.row;
  json.open('{').put("id", kept.id).put("made_ms", row.made).put("due_ms", row.due).put("person", row.person).put("channel", row.channel);
  json.put("kind", history::name_of(row.kind)).put("step", row.step);
  row.warning ? json.put("warning", key_text(row.warning)) : json.key("warning").null();
  json.put("urgency", name_of(row.urgency)).put("state", history::name_of(progress.state)).put("tries", progress.tries);
  json.put("sent_ms", progress.sent).put("answer", progress.answer).close('}');
}

}  // namespace

Or<Answer> messages_list(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"warning", "limit"}); !known) return tl::unexpected(known.error());
  const auto limit = whole_number(request.query, "limit", 0, messages_told_max, messages_told_unless);
  if (!limit) return tl::unexpected(limit.error());
  const Time now = house.parts.wall();
  const auto kept = reader->messages_since(now - messages_looked_back);
  if (!kept) return of_trouble(kept.error());
  const auto of = request.query.find("warning");
  const auto duty = house.parts.duty ? house.parts.duty() : std::nullopt;
  JsonText json;
  json.open('{').put("now_ms", now).put("duty", duty.has_value()).key("channels").open('[');
  for (const auto& [name, channel] : channels_of(*kept, duty ? duty->channels : std::vector<std::string>{}, now)) {
    json.open('{').put("channel", name).put("due", channel.due).put("oldest_due_ms", channel.oldest_due).put("last_sent_ms", channel.last_sent);
    json.put("refused", channel.refused).put("unsure", channel.unsure).put("answer", channel.answer).close('}');
  }
  json.close(']').key("heartbeat");
  const auto beat = house.parts.heartbeat ? house.parts.heartbeat() : std::nullopt;
  if (beat) json.open('{').put("by", beat->by).put("every_s", Rounded{beat->every_s, 1}).put("last_ms", beat->last).put("problem", beat->problem).close('}');
  else json.null();
  json.key("messages").open('[');
  std::int64_t told = 0;
  for (auto one = kept->rbegin(); one != kept->rend() && told < *limit; ++one) {
    if (of != request.query.end() && key_text(one->row.row.warning) != of->second) continue;
    put(json, *one);
    ++told;
  }
  json.close(']').close('}');
  return json_answer(json);
}

Or<Answer> warning_who(House& house, const Request& request, Reader* reader) {
  if (const auto known = only(request.query, {"at_ms", "urgency"}); !known) return tl::unexpected(known.error());
  const auto key = key_of_path(house, request);
  if (!key) return tl::unexpected(key.error());
  const auto at = moment(request.query, "at_ms");
  if (!at) return tl::unexpected(at.error());
  const auto named = one_of(request.query, "urgency", {"act", "plan", "notice"}, "");
  if (!named) return tl::unexpected(named.error());
  const Time when = at->value_or(house.parts.wall());
  auto urgency = urgency_named(*named);
  if (!urgency) {
    const auto warning = find_warning(house, *reader, *key);
    if (!warning) return tl::unexpected(warning.error());
    urgency = warning->last.urgency;
  }
  const auto who = house.parts.who ? house.parts.who({key->station, key->line, key->condition}, *urgency, when) : std::nullopt;
  JsonText json;
  json.open('{').put("duty", who.has_value()).put("at_ms", when).put("local", who ? who->local : std::string{}).put("urgency", name_of(*urgency));
  json.key("why").open('[');
  if (who)
    for (const std::string& why : who->why) json.put(why);
  json.close(']').put("held_until_ms", who ? who->held_until : std::nullopt).put("all_at_once", who && who->all_at_once);
  json.put("after_min", who ? who->after_min : 0).key("people").open('[');
  if (who)
    for (const auto& person : who->people) {
      json.open('{').put("name", person.name).key("channels").open('[');
      for (const std::string& channel : person.channels) json.put(channel);
      json.close(']').close('}');
    }
  json.close(']').close('}');
  return json_answer(json);
}

}  // namespace driftline::web
