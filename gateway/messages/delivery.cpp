#include "gateway/messages/delivery.h"

#include <algorithm>
#include <set>

#include "gateway/messages/digest.h"
#include "gateway/messages/events.h"
#include "gateway/messages/limits.h"
#include "gateway/messages/plan.h"
#include "gateway/messages/tell.h"
#include "rules/records/time_text.h"

namespace driftline::messages {
namespace {

std::int64_t last_of(const std::vector<history::CursorMark>& marks, history::Feed feed) {
  for (const auto& mark : marks)
    if (mark.feed == feed) return mark.id;
  return 0;
}

}  // namespace

bool Planning::ready() {
  if (reader_) return true;
  auto opened = history::Reader::open(parts_.history->file());
  if (!opened) events::history_trouble(opened.error());
  if (opened) reader_ = std::move(*opened);
  return reader_ != nullptr;
}

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
  const bool stale = !looked_ || now - *looked_ >= std::chrono::seconds{5} || now < *looked_ || look_again_.exchange(false);
  if (life == life_seen_ && !due && !stale) return;
  life_seen_ = life;
  looked_ = now;
  look_at_warnings(now);
}

void Planning::look_at_warnings(Time now) {
  const auto lives = reader_->lives();
  const auto told = reader_->messages_since(now - told_for);
  if (!lives || !told) {
    reader_.reset();
    life_seen_ = -1;
    return;
  }
  std::vector<KeptMessage> kept;
  for (const auto& stored : *told) kept.push_back(stored.row);
  Plan planned = plan(duty_, *lives, kept, now);
  wake_at_ = planned.wake_at;
  add_digest(planned.rows, *lives, kept, now);
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

void Planning::add_digest(std::vector<MessageRow>& rows, const LifeRows& lives, const std::vector<KeptMessage>& told, Time now) {
  const auto date = digest_due(duty_, told, now);
  if (!date) return;
  const auto known = reader_->stations_known();
  const auto fed = reader_->fed_stations();
  if (!known || !fed) return;
  DigestFacts facts;
  std::set<StationId> all(known->begin(), known->end());
  for (const auto& [station, what] : parts_.facts) all.insert(station);
  facts.known.assign(all.begin(), all.end());
  for (const auto& station : *fed)
    if (station.last >= now - std::chrono::hours{24}) facts.heard.push_back(station.id);
  for (const KeptMessage& kept : told) {
    const history::MessageState state = kept.progress.state;
    facts.held += state == history::MessageState::waiting && kept.row.warning && kept.row.urgency != Urgency::act ? 1 : 0;
    facts.failed += (state == history::MessageState::refused || state == history::MessageState::unsure) && now - kept.row.made < std::chrono::hours{24} ? 1 : 0;
  }
  for (MessageRow& row : of_itself(duty_, digest_of(duty_, lives, facts, *date, now), now)) rows.push_back(std::move(row));
}

tl::expected<void, history::Trouble> tell(history::History& history, const DutyList& duty, const GatewaySays& said, Time now) {
  const auto rows = of_itself(duty, said, now);
  if (rows.empty()) return {};
  return history.plan_messages(rows);
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

bool Delivery::tell(const GatewaySays& said) {
  const auto stored = messages::tell(*parts_.history, duty_, said, parts_.wall());
  if (!stored) events::history_trouble(stored.error());
  nudge();
  return stored.has_value();
}

void Delivery::nudge() { changed_.notify_all(); }

void Delivery::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  for (const auto& sending : sendings_) sending->stop();
  for (std::thread& thread : threads_) thread.join();
  threads_.clear();
}

bool Delivery::wait() {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, look_spacing);
  return !stopping_;
}

void Delivery::run_planning() {
  do {
    ++pulse_;
    planning_.step(parts_.wall());
    changed_.notify_all();
  } while (wait());
}

void Delivery::run_sending(Sending& sending) {
  do {
    if (sending.step(parts_.wall())) planning_.look_again();
    for (const GatewaySays& said : sending.to_tell(parts_.wall())) (void)tell(said);
  } while (wait());
}

}  // namespace driftline::messages
