#include "gateway/messages/words.h"

#include <set>

#include "rules/records/names.h"
#include "rules/warnings/text.h"

namespace driftline::messages {
namespace {

using Text = std::pair<const char*, const char*>;
constexpr Text texts[]{
    {"language", "en"},
    // First lines, at most 60 characters.
    {"urgency/act", "ACT"},
    {"urgency/plan", "Plan"},
    {"urgency/notice", "Note"},
    {"place/line", "{station} line {line}"},
    {"subject/news", "{urgency} {place}: {what}"},
    {"subject/left", "{subject}, {left}"},
    {"subject/reminder", "No answer: {subject}"},
    {"subject/over", "Over {place}: {what}"},
    {"subject/taken", "{owner} has it: {place}: {what}"},
    {"subject/more", "{subject}, and {count} more"},
    {"subject/site", "{urgency} {site}: {what} at {count} stations"},
    {"subject/many", "{urgency} {count} warnings at {stations} stations"},
    // How long there is.
    {"left/now", "now"},
    {"left/hours", "{number} h"},
    {"left/days", "{number} days"},
    {"left/beyond", "more than {number} days"},
    {"left/between", "{low} to {high}"},
    // What was found.
    {"body/place", "{site}, {place}"},
    {"body/times", "Times: {zone}"},
    {"body/found", "{what}, since {since}."},
    {"body/reason", "{reason}."},
    {"body/changed", "Changed: {figure} is {value}{usual}{limit}{since}."},
    {"changed/usual", ", usual {usual}"},
    {"changed/percent", " ({percent} %)"},
    {"changed/limit", ", limit {limit}"},
    {"changed/since", ", since {since}"},
    {"body/also", "Also seen: {list}."},
    {"body/left", "Time left: about {left} to the {limit}."},
    {"body/left-between", "Time left: about {left} to the {limit}; in 8 of 10 cases {between}."},
    {"body/left-open", "Time left: no limit within sight."},
    {"body/left-not-served", "Time left: none, the line is not served now."},
    {"body/left-short-of-grease", "Meanwhile bearings of this line may go short of grease."},
    {"body/left-line-not-greased", "Meanwhile this line is not greased."},
    {"body/left-nothing-greased", "Meanwhile nothing is greased."},
    {"body/left-not-known", "Meanwhile nothing is known of it."},
    {"limit/pump", "pump limit"},
    {"limit/residual", "residual limit"},
    {"limit/empty", "empty mark"},
    {"limit/other", "limit"},
    // What to do.
    {"body/causes", "Likeliest, each with its first check:"},
    {"body/cause", "{cause} ({percent} %). {check}"},
    {"body/check-faults", "First check: the station's faults, on the page and not on the spot. Often the controller's clock is not set."},
    {"body/check-level", "First check: the level in the reservoir."},
    {"body/bring", "Bring: {list}."},
    {"body/grease", "Grease: {kind}."},
    {"body/grease-plate", "Grease: the kind on the station's plate."},
    {"body/grease-kg", "Grease: {kind}, about {kg} kg to fill the reservoir."},
    {"body/grease-plate-kg", "Grease: the kind on the station's plate, about {kg} kg to fill the reservoir."},
    {"body/nobody", "Nobody has acknowledged it. You are number {number} in turn."},
    {"body/acknowledge", "Acknowledge"},
    {"body/acknowledge-of", "Acknowledge {place}"},
    {"body/chart", "See the chart"},
    // Others.
    {"body/over", "It has ended. It was raised {since}."},
    {"body/taken", "{owner} has acknowledged it. You need not go."},
    {"body/common", "{count} stations of {site} have this at once. Look first for what they have in common: cold, power, link, a change of settings."},
    {"body/summary", "So much came at once that it comes as one message. Most urgent first:"},
    {"body/first", "The first of them:"},
    {"body/and", "Also: {subject}"},
    {"picture/days", "{figure}, last {days} days: {low} to {high}."},
    {"picture/usual", "Dashed: usual."},
    {"picture/limit", "Red line: limit."},
    // What the gateway says of itself.
    {"self/started", "driftline has started"},
    {"self/started-body", "The gateway started at {time}. While it was stopped nothing was judged; what came in meanwhile is judged now."},
    {"self/down", "{way} does not go out"},
    {"self/down-body", "Messages by {way} have not gone out since {time}: {why}\nThey wait, and this is told by every other way."},
    {"self/back", "{way} goes out again"},
    {"self/back-body", "What waited since {since} goes out now, {time}."},
    {"self/way-to", "{channel} to {person}"},
    {"self/refused", "{way} is refused"},
    {"self/refused-body", "A message by {way} was refused for good: {why}\nIt is not tried again. Look at the address in duty.json."},
    {"self/unsure", "{way} is unsure"},
    {"self/unsure-body", "Handed over twice by {way} without an answer, so it may be there twice or not at all: {subject}\nIt is not sent a third time."},
    // The digest.
    {"digest/subject", "{date}: {heard} of {known} stations watched, {open} open"},
    {"digest/watched", "{heard} of {known} stations were truly watched in the last 24 hours."},
    {"digest/silent", "Not heard, so nothing is known of them:"},
    {"digest/state", "{state} ({count}):"},
    {"digest/open", "{place}: {what}, {days} days"},
    {"digest/owner", "{place}: {what}, {days} days, {owner} has it"},
    {"digest/none", "No warning is open."},
    {"digest/held", "Held back until quiet hours end, or until there is less at once: {count}."},
    {"digest/failed", "Refused or unsure in the last 24 hours: {count}."},
    {"digest/more", "and {count} more"},
    {"state/unacknowledged", "Nobody has acknowledged"},
    {"state/acknowledged", "Acknowledged"},
    {"state/returned-unacknowledged", "Over, nobody has acknowledged"},
    {"state/latched-unacknowledged", "Over, waits for its reset, nobody has acknowledged"},
    {"state/latched-acknowledged", "Over, waits for its reset"},
    {"state/shelved", "Shelved"},
    {"state/suppressed", "Suppressed while the station is silent"},
    {"state/out-of-service", "Out of service"},
};

constexpr const char* figures[]{"time_to_pressure_s", "vent_s", "residual_bar", "peak_bar", "level_pct", "use_pct_per_day", "life_days", "use_share_of_charges",
                                "use_pct_per_turn", "hours_since_turn"};

std::set<std::string> places_of(std::string_view text) {
  std::set<std::string> places;
  for (std::size_t at = 0; (at = text.find('{', at)) != std::string_view::npos; ++at) {
    const auto end = text.find('}', at);
    if (end == std::string_view::npos) break;
    places.emplace(text.substr(at + 1, end - at - 1));
  }
  return places;
}

std::string listed(const std::set<std::string>& places) {
  std::string text;
  for (const std::string& place : places) text += (text.empty() ? "{" : ", {") + place + "}";
  return text.empty() ? "no places" : text;
}

}  // namespace

Words::Words() {
  for (const auto& [name, text] : texts) texts_[name] = text;
  for (std::size_t i = 0; i < condition_count; ++i) {
    const auto condition = static_cast<Condition>(i);
    texts_["condition/" + std::string(name_of(condition))] = rules::words_of(condition);
    texts_["caution/" + std::string(name_of(condition))] = rules::caution_of(condition);
  }
  for (std::size_t i = 0; i < cause_count; ++i) {
    const auto cause = static_cast<Cause>(i);
    texts_["cause/" + std::string(name_of(cause))] = rules::words_of(cause);
    texts_["check/" + std::string(name_of(cause))] = rules::first_check_of(cause);
    texts_["bring/" + std::string(name_of(cause))] = rules::what_to_bring_for(cause);
  }
  for (const char* figure : figures) {
    texts_["figure/" + std::string(figure)] = rules::words_of_figure(figure).words;
    texts_["unit/" + std::string(figure)] = rules::words_of_figure(figure).unit;
  }
}

std::string Words::say(std::string_view name, Places places) const {
  const auto found = texts_.find(name);
  if (found == texts_.end()) return {};
  const std::string& text = found->second;
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const auto open = text.find('{', at);
    const auto close = open == std::string::npos ? open : text.find('}', open);
    out += text.substr(at, open == std::string::npos || close == std::string::npos ? std::string::npos : open - at);
    if (close == std::string::npos) break;
    const std::string_view place = std::string_view(text).substr(open + 1, close - open - 1);
    for (const auto& [key, value] : places)
      if (key == place) out += value;
    at = close + 1;
  }
  return out;
}

std::vector<Words::Problem> Words::translate(const std::map<std::string, std::string>& given) {
  std::vector<Problem> problems;
  for (const auto& [name, text] : given)
    if (!texts_.contains(name)) problems.push_back({name, "there is no text of that name", "a name that driftline check --words prints"});
  for (const auto& [name, text] : texts_) {
    const auto other = given.find(name);
    if (other == given.end()) {
      problems.push_back({name, "this text is missing", "what \"" + text + "\" is in that language"});
      continue;
    }
    const auto want = places_of(text);
    if (places_of(other->second) != want) problems.push_back({name, "its places are not those of the English text", listed(want)});
  }
  if (!problems.empty()) return problems;
  for (const auto& [name, text] : given) texts_.find(name)->second = text;
  english_ = false;
  return problems;
}

}  // namespace driftline::messages
