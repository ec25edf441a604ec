#include "gateway/messages/delivery.h"

#include <algorithm>
#include <map>

#include "gateway/messages/events.h"
#include "gateway/messages/limits.h"
#include "gateway/messages/plan.h"
#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

using history::MessageKind;
using history::MessageState;

bool open_reader(std::unique_ptr<history::Reader>& reader, const history::History& history) {
  if (reader) return true;
  auto opened = history::Reader::open(history.file());
  if (!opened) {
    events::history_trouble(opened.error());
    return false;
  }
  reader = std::move(*opened);
  return true;
}

std::int64_t last_of(const std::vector<history::CursorMark>& marks, history::Feed feed) {
  for (const auto& mark : marks)
    if (mark.feed == feed) return mark.id;
  return 0;
}

// An act is told whatever has become of it since; anything else only while it still asks for an answer.
bool needed(const history::MessageRow& row, const std::map<history::WarningRef, rules::Life>& lives) {
  if (!row.warning || (row.kind != MessageKind::news && row.kind != MessageKind::reminder)) return true;
  const auto found = lives.find(*row.warning);
  const bool asks = found != lives.end() && found->second.raised == row.raised && rules::state_of(found->second) == rules::LifeState::unacknowledged;
  if (asks) return row.urgency >= found->second.urgency || row.urgency == Urgency::act;
  return row.urgency == Urgency::act && row.kind == MessageKind::news && (found == lives.end() || found->second.owner.empty());
}

}  // namespace

bool Planning::ready() { return open_reader(reader_, *parts_.history); }

void Planning::step(Time now) {
  if (!ready()) return;
  const auto last = reader_->last_ids();
  if (!last) {
    events::history_trouble(last.error());
    reader_.reset();
    return;
  }
  const std::int64_t life = last_of(*last, history::Feed::life_changes);
  const bool due = wake_at_ && *wake_at_ <= now;
  const bool stale = !looked_ || now - *looked_ >= std::chrono::seconds{5} || now < *looked_;
  if (life == life_seen_ && !due && !stale) return;
  life_seen_ = life;
  looked_ = now;
  look_at_warnings(now);
}

void Planning::look_at_warnings(Time now) {
  const auto lives = reader_->lives();
  const auto told = reader_->messages_since(now - told_for);
  const auto known = reader_->stations_known();
  if (!lives || !told || !known) {
    reader_.reset();
    life_seen_ = -1;
    return;
  }
  std::vector<KeptMessage> kept;
  for (const auto& stored : *told) kept.push_back(stored.row);
  Plan planned = plan(duty_, *lives, kept, now);
  wake_at_ = planned.wake_at;
  for (MessageRow& row : digest(duty_, *lives, *known, now))
    if (std::none_of(kept.begin(), kept.end(), [&](const KeptMessage& one) { return one.row.key == row.key; })) planned.rows.push_back(std::move(row));
  if (planned.rows.empty()) return;
  const auto stored = parts_.history->plan_messages(planned.rows);
  if (!stored) {
    events::history_trouble(stored.error());
    life_seen_ = -1;
    return;
  }
  events::planned(planned.rows.size());
  if (parts_.between) parts_.between("planned");
}

tl::expected<void, history::Trouble> tell(history::History& history, const DutyList& duty, const GatewaySays& said, Time now) {
  const auto rows = of_itself(duty, said, now);
  if (rows.empty()) return {};
  return history.plan_messages(rows);
}

Sending::Sending(std::string name, const DutyList& duty, DeliveryParts& parts) : name_(std::move(name)), duty_(duty), parts_(parts) {
  if (parts_.channel) {
    channel_ = parts_.channel(name_);
  } else if (name_ == "mail" && duty_.mail) {
    channel_ = mail_channel(*duty_.mail);
  } else if (const auto found = duty_.webhooks.find(name_.substr(std::min<std::size_t>(name_.size(), 8))); name_.starts_with("webhook ") && found != duty_.webhooks.end()) {
    channel_ = webhook_channel(found->second);
  }
}

bool Sending::ready() { return channel_ && open_reader(reader_, *parts_.history); }

std::vector<Item> Sending::due_items(Time now) {
  std::vector<Item> items;
  const auto rows = reader_->messages_due(name_, now, rows_a_look);
  const auto lives = rows && !rows->empty() ? reader_->lives() : history::Rows<LifeRow>{};
  if (!rows || !lives) {
    events::history_trouble(!rows ? rows.error() : lives.error());
    reader_.reset();
    return items;
  }
  std::map<history::WarningRef, rules::Life> by_ref;
  for (const auto& stored : *lives) by_ref[history::ref_of(stored.row.last)] = stored.row.life;
  std::vector<std::int64_t> not_needed;
  for (const auto& stored : *rows) {
    if (!needed(stored.row.row, by_ref)) {
      not_needed.push_back(stored.id);
      continue;
    }
    Item& item = items.emplace_back();
    item.message = stored.row;
    item.message.progress.sending = stored.id;
    if (stored.row.row.warning && stored.row.row.warning_id > 0)
      if (const auto said = reader_->warning_row(stored.row.row.warning_id); said && !said->empty()) item.warning = said->front().row;
  }
  if (!not_needed.empty()) end(not_needed, {.state = MessageState::dropped, .answered = true, .next_try = now, .answer = "answered or over before it was due"});
  return items;
}

bool Sending::step(Time now) {
  if (not_before_ && now < *not_before_) return false;
  if (!ready()) return false;
  std::map<std::string, std::vector<Item>> by_person;
  for (Item& item : due_items(now)) by_person[item.message.row.person].push_back(std::move(item));
  bool any = false;
  for (auto& [person, items] : by_person) {
    if (!send_person(std::move(items), now)) return false;
    any = true;
  }
  return any;
}

// Acts first go one by one; the rest is one summary where it would be a flood.
bool Sending::send_person(std::vector<Item> items, Time now) {
  const auto sent = reader_->messages_sent_since(items.front().message.row.person, now - flood_window);
  const std::int64_t before = sent.value_or(0);
  const bool flood = before + static_cast<std::int64_t>(bundles(items, false).size()) > flood_messages;
  for (const auto& bundle : bundles(items, flood)) {
    std::vector<Item> together;
    for (const std::size_t i : bundle) together.push_back(items[i]);
    const history::MessageRow& row = together.front().message.row;
    const bool may_wait = row.warning && row.urgency != Urgency::act;
    if (may_wait && before > flood_messages) continue;  // stays due until the flood is over
    if (!send_bundle(together, now)) return false;
  }
  return true;
}

bool Sending::send_bundle(const std::vector<Item>& items, Time now) {
  std::vector<std::int64_t> ids;
  int unsure = 0;
  for (const Item& item : items) {
    ids.push_back(item.message.progress.sending);
    unsure = std::max(unsure, item.message.progress.unsure);
  }
  const history::MessageRow& row = items.front().message.row;
  if (unsure >= unsure_most) {
    events::given_up(name_, row.person);
    end(ids, {.state = MessageState::unsure, .answered = true, .next_try = now, .answer = "handed over twice without an answer"});
    return true;
  }
  if (const auto begun = parts_.history->begin_sending(ids); !begun) {
    events::history_trouble(begun.error());
    return false;
  }
  between("handed over");
  const SendResult result = channel_->send({text_of(items, duty_, parts_.links, now), row.person, row.address, items, ids.front(), now});
  between("sent");
  if (result.sent == Sent::later) {
    end(ids, {.state = MessageState::waiting, .answered = result.answered, .next_try = now, .answer = result.answer});
    wait_ = std::clamp(wait_ * 2, back_off_first, back_off_most);
    not_before_ = now + std::max(wait_, result.retry_after);
    if (!down_since_) {
      down_since_ = now;
      events::channel_down(name_, result.answer);
    }
    why_ = result.answer;
    return false;
  }
  if (down_since_) events::channel_back(name_);
  down_since_.reset();
  wait_ = std::chrono::seconds{0};
  not_before_.reset();
  const bool went = result.sent == Sent::yes;
  if (went)
    events::sent(name_, 1);
  else
    events::refused(name_, row.person, result.answer);
  end(ids, {.state = went ? MessageState::sent : MessageState::refused, .answered = true, .next_try = now, .sent = went ? std::optional{now} : std::nullopt, .answer = result.answer});
  between("stored");
  return true;
}

void Sending::end(const std::vector<std::int64_t>& ids, const history::History::SendingEnd& how) {
  if (const auto stored = parts_.history->end_sending(ids, how); !stored) events::history_trouble(stored.error());
}

Delivery::Delivery(DutyList duty, DeliveryParts parts) : duty_(std::move(duty)), parts_(std::move(parts)) {
  if (duty_.mail) sendings_.push_back(std::make_unique<Sending>("mail", duty_, parts_));
  for (const auto& [name, webhook] : duty_.webhooks) sendings_.push_back(std::make_unique<Sending>("webhook " + name, duty_, parts_));
}

Delivery::~Delivery() { stop(); }

void Delivery::start() {
  parts_.history->set_life(duty_.life);
  threads_.emplace_back([this] { run_planning(); });
  for (const auto& sending : sendings_) threads_.emplace_back([this, &sending] { run_sending(*sending); });
}

void Delivery::tell(const GatewaySays& said) {
  if (const auto stored = messages::tell(*parts_.history, duty_, said, parts_.wall()); !stored) events::history_trouble(stored.error());
  nudge();
}

void Delivery::nudge() { changed_.notify_all(); }

void Delivery::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  for (std::thread& thread : threads_) thread.join();
  threads_.clear();
}

bool Delivery::wait() {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, look_spacing);
  return !stopping_;
}

void Delivery::run_planning() {
  Planning planning(duty_, parts_);
  do {
    ++pulse_;
    planning.step(parts_.wall());
    changed_.notify_all();
  } while (wait());
}

void Delivery::run_sending(Sending& sending) {
  std::optional<Time> told;
  do {
    const Time now = parts_.wall();
    (void)sending.step(now);
    const auto down = sending.down_since();
    if (down && !told && now - *down >= dead_after) {
      told = down;
      tell({"channel-down|" + sending.name() + "|" + rfc3339(*down), "driftline: " + sending.name() + " does not go out",
            "Messages by " + sending.name() + " have not gone out since " + rfc3339(*down) + ": " + sending.why() +
                "\nThey wait, and this is told by every other channel.\n"});
    } else if (!down && told) {
      tell({"channel-back|" + sending.name() + "|" + rfc3339(*told), "driftline: " + sending.name() + " goes out again",
            "What waited since " + rfc3339(*told) + " goes out now.\n"});
      told.reset();
    }
  } while (wait());
}

}  // namespace driftline::messages
