#include "gateway/messages/sending.h"

#include <algorithm>
#include <map>
#include <set>
#include <utility>

#include "gateway/messages/events.h"
#include "gateway/messages/limits.h"
#include "gateway/messages/measures.h"
#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using history::MessageRow;
using history::MessageState;

enum class Need : std::uint8_t { yes, no, not_yet };

// An act is told whatever has become of it since; anything else only while it still asks for an answer. That it is over is not
// said while it is back.
Need need_of(const MessageRow& row, const Lives& lives) {
  if (!row.warning) return Need::yes;
  const auto found = lives.find(*row.warning);
  if (row.kind == MessageKind::over) return found != lives.end() && found->second.active ? Need::not_yet : Need::yes;
  if (row.kind != MessageKind::news && row.kind != MessageKind::reminder) return Need::yes;
  const bool act = row.urgency == Urgency::act;
  const bool asks = found != lives.end() && found->second.raised == row.raised && rules::state_of(found->second) == rules::LifeState::unacknowledged;
  if (asks) return act || row.urgency >= found->second.urgency ? Need::yes : Need::no;
  return act && row.kind == MessageKind::news && (found == lives.end() || found->second.owner.empty()) ? Need::yes : Need::no;
}

// Of several ends of one warning the last is enough.
std::set<std::int64_t> earlier_ends(const std::vector<history::Stored<history::KeptMessage>>& rows) {
  std::set<std::int64_t> earlier;
  std::map<history::WarningRef, std::int64_t> last;
  for (const auto& stored : rows) {
    const MessageRow& row = stored.row.row;
    if (row.kind != MessageKind::over || !row.warning) continue;
    const auto [at, first] = last.try_emplace(*row.warning, stored.id);
    if (!first) earlier.insert(std::exchange(at->second, stored.id));
  }
  return earlier;
}

}  // namespace

Sending::Sending(std::string name, const DutyList& duty, DeliveryParts& parts) : name_(std::move(name)), duty_(duty), parts_(parts) {
  const std::string webhook = name_.starts_with("webhook ") ? name_.substr(8) : "";
  if (parts_.channel) {
    channel_ = parts_.channel(name_);
  } else if (name_ == "mail" && duty_.mail) {
    channel_ = mail_channel(*duty_.mail);
  } else if (const auto found = duty_.webhooks.find(webhook); found != duty_.webhooks.end()) {
    channel_ = webhook_channel(found->second);
  }
}

bool Sending::ready() {
  if (reader_) return channel_ != nullptr;
  auto opened = history::Reader::open(parts_.history->file());
  if (!opened) events::history_trouble(opened.error());
  if (opened) reader_ = std::move(*opened);
  return reader_ && channel_;
}

bool Sending::held(const std::string& person, Time now) const {
  const auto found = holds_.find(person);
  return found != holds_.end() && now < found->second.not_before;
}

std::vector<Item> Sending::due_items(const std::string& person, const Lives& lives, Time now) {
  std::vector<Item> items;
  auto rows = reader_->messages_due(name_, person, now, rows_a_look);
  if (!rows) {
    events::history_trouble(rows.error());
    return items;
  }
  std::ranges::sort(*rows, {}, [](const auto& stored) { return stored.id; });
  const auto earlier = earlier_ends(*rows);
  std::vector<std::int64_t> not_needed;
  for (const auto& stored : *rows) {
    const Need need = earlier.contains(stored.id) ? Need::no : need_of(stored.row.row, lives);
    if (need == Need::no) not_needed.push_back(stored.id);
    if (need != Need::yes) continue;
    Item& item = items.emplace_back(Item{stored.id, stored.row, {}});
    if (stored.row.row.warning && stored.row.row.warning_id > 0)
      if (const auto said = reader_->warning_row(stored.row.row.warning_id); said && !said->empty()) item.warning = said->front().row;
  }
  if (!not_needed.empty()) end(not_needed, {.state = MessageState::dropped, .answered = true, .next_try = now, .answer = "answered or over before it was due"});
  return items;
}

bool Sending::step(Time now) {
  if (held("", now) || !ready()) return false;
  const auto people = reader_->people_due(name_, now);
  const auto lives = people && !people->empty() ? reader_->lives() : history::Rows<history::LifeRow>{};
  if (!people || !lives) {
    events::history_trouble(!people ? people.error() : lives.error());
    reader_.reset();
    return false;
  }
  Lives by_ref;
  for (const auto& stored : *lives) by_ref[history::ref_of(stored.row.last)] = stored.row.life;
  bool any = false;
  for (const std::string& person : *people) {
    if (held(person, now)) continue;
    any = send_person(person, due_items(person, by_ref, now), now) || any;
    if (held("", now)) return any;
  }
  return any;
}

// Acts first; what may wait waits while there was a flood within the last minutes.
bool Sending::send_person(const std::string& person, const std::vector<Item>& items, Time now) {
  auto sent = static_cast<std::size_t>(reader_->messages_sent_since(person, name_, now - flood_window).value_or(0));
  bool any = false;
  for (const Bundle& bundle : bundles(items, sent < flood_messages ? flood_messages - sent : 0)) {
    if (bundle.may_wait && sent >= flood_messages) continue;
    std::vector<Item> together;
    for (const std::size_t i : bundle.items) together.push_back(items[i]);
    const Sent outcome = send_bundle(together, bundle.sending, now);
    if (outcome == Sent::later || outcome == Sent::later_here) return any;
    if (outcome == Sent::yes) ++sent;
    any = true;
  }
  return any;
}

Sent Sending::send_bundle(std::vector<Item>& items, std::int64_t sending_before, Time now) {
  std::vector<std::int64_t> ids;
  int unsure = 0;
  for (std::size_t i = 0; i < items.size(); ++i)
    if (i < told_in_full || items[i].message.row.urgency == Urgency::act) fill_in(items[i], *reader_, parts_.facts, now);
  for (const Item& item : items) {
    ids.push_back(item.id);
    unsure = std::max(unsure, item.message.progress.unsure);
  }
  const MessageRow& row = items.front().message.row;
  if (unsure >= unsure_most) {
    events::given_up(name_, row.person);
    end(ids, {.state = MessageState::unsure, .answered = true, .next_try = now, .answer = "handed over twice without an answer"});
    const std::string subject = text_of(items, duty_, parts_.links, now).subject;
    to_tell_.push_back({"unsure|" + row.key, duty_.words.say("self/unsure", {{"way", way_to(row.person)}}),
                        duty_.words.say("self/unsure-body", {{"way", way_to(row.person)}, {"subject", subject}}) + "\n"});
    return Sent::refused;
  }
  const std::int64_t sending = sending_before != 0 ? sending_before : ids.front();
  const std::string identity = identity_of(sending);
  if (identity.empty() || !begin(ids, sending)) return Sent::later_here;
  between("handed over");
  const SendResult result = channel_->send({text_of(items, duty_, parts_.links, now), row.person, row.address, items, identity, now});
  between("sent");
  const Sent outcome = take_answer(ids, row.person, result, now);
  between("stored");
  return outcome;
}

Sent Sending::take_answer(const std::vector<std::int64_t>& ids, const std::string& person, const SendResult& result, Time now) {
  if (result.sent == Sent::later || result.sent == Sent::later_here) {
    end(ids, {.state = MessageState::waiting, .answered = result.answered, .next_try = now, .answer = result.answer});
    if (result.sent == Sent::later_here) release("", now);
    if (stopped_) return result.sent;  // broken off by us: that says nothing of the channel
    hold(result.sent == Sent::later ? "" : person, result, now);
    return result.sent;
  }
  release("", now);
  release(person, now);
  if (result.sent == Sent::yes) {
    events::sent(name_, 1);
    end(ids, {.state = MessageState::sent, .answered = true, .next_try = now, .sent = now, .answer = result.answer});
    return result.sent;
  }
  events::refused(name_, person, result.answer);
  end(ids, {.state = MessageState::refused, .answered = true, .next_try = now, .answer = result.answer});
  to_tell_.push_back({"refused|" + name_ + "|" + person + "|" + rfc3339(std::chrono::floor<std::chrono::days>(now)), duty_.words.say("self/refused", {{"way", way_to(person)}}),
                      duty_.words.say("self/refused-body", {{"way", way_to(person)}, {"why", result.answer}}) + "\n"});
  return result.sent;
}

void Sending::hold(const std::string& person, const SendResult& result, Time now) {
  const auto [at, first] = holds_.try_emplace(person);
  Hold& hold = at->second;
  if (first) {
    hold.since = now;
    events::channel_down(person.empty() ? name_ : name_ + " to " + person, result.answer);
  }
  hold.why = result.answer;
  hold.wait = std::clamp(hold.wait * 2, back_off_first, back_off_most);
  hold.not_before = now + std::max(hold.wait, result.retry_after);
}

void Sending::release(const std::string& person, Time now) {
  const auto found = holds_.find(person);
  if (found == holds_.end()) return;
  events::channel_back(person.empty() ? name_ : name_ + " to " + person);
  if (found->second.told)
    to_tell_.push_back({"channel-back|" + name_ + "|" + person + "|" + rfc3339(found->second.since), duty_.words.say("self/back", {{"way", way_to(person)}}),
                        duty_.words.say("self/back-body", {{"since", clock_text(found->second.since, duty_.zone)}, {"time", clock_text(now, duty_.zone)}}) + "\n"});
  holds_.erase(found);
}

std::string Sending::way_to(const std::string& person) const {
  return person.empty() ? name_ : duty_.words.say("self/way-to", {{"channel", name_}, {"person", person}});
}

std::vector<GatewaySays> Sending::to_tell(Time now) {
  for (auto& [person, hold] : holds_) {
    if (hold.told || now - hold.since < dead_after) continue;
    hold.told = true;
    to_tell_.push_back({"channel-down|" + name_ + "|" + person + "|" + rfc3339(hold.since), duty_.words.say("self/down", {{"way", way_to(person)}}),
                        duty_.words.say("self/down-body", {{"way", way_to(person)}, {"time", clock_text(hold.since, duty_.zone)}, {"why", hold.why}}) + "\n"});
  }
  return std::exchange(to_tell_, {});
}

// The key of the row that gave a message its number, so that it is the same whatever else has been dropped from it since.
std::string Sending::identity_of(std::int64_t sending) {
  const auto row = reader_->message(sending);
  if (!row || row->empty()) return {};
  return hash_of(std::to_string(sending) + "|" + row->front().row.row.key);
}

bool Sending::begin(const std::vector<std::int64_t>& ids, std::int64_t sending) {
  const auto begun = parts_.history->begin_sending(ids, sending);
  if (!begun) events::history_trouble(begun.error());
  return begun.has_value();
}

void Sending::end(const std::vector<std::int64_t>& ids, const history::History::SendingEnd& how) {
  if (const auto stored = parts_.history->end_sending(ids, how); !stored) events::history_trouble(stored.error());
}

}  // namespace driftline::messages
