#include "gateway/app/messages_consumer.h"

#include <atomic>
#include <filesystem>
#include <memory>

#include "gateway/app/clock.h"
#include "gateway/app/run_events.h"
#include "gateway/messages/confirm.h"
#include "gateway/messages/delivery.h"
#include "gateway/messages/measures.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

messages::GatewaySays started(const messages::DutyList& duty, Time now) {
  return {"start|" + rfc3339(now), duty.words.say("self/started"), duty.words.say("self/started-body", {{"time", messages::clock_text(now, duty.zone)}}) + "\n"};
}

messages::Links signed_links(const messages::Links& links, const std::string& page_url, const history::History& history) {
  if (page_url.empty()) return links;
  const auto key = messages::link_key_of((std::filesystem::path(history.file()).parent_path() / messages::link_key_name).string());
  if (key) return messages::with_confirm_links(links, page_url, *key);
  run_events::links_unsigned(key.error());
  return links;
}

}  // namespace

ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links, std::function<void(const char*)> between, messages::Facts facts) {
  const history::CursorUse cursor{.name = "messages", .feeds = {}};  // what was told is in the history: no place to keep
  return {cursor, [duty = std::move(duty), links = std::move(links), facts = std::move(facts), between = std::move(between)](history::History& history) {
            messages::DeliveryParts parts;
            parts.history = &history;
            parts.wall = wall_now;
            parts.links = signed_links(links, duty.page_url, history);
            parts.facts = facts;
            parts.between = between;
            const auto delivery = std::make_shared<messages::Delivery>(duty, std::move(parts));
            delivery->start();
            static std::atomic<bool> told{false};  // a reload starts its consumers anew: no news
            if (!told.exchange(true)) (void)delivery->tell(started(duty, wall_now()));
            return Consumer{.name = "messages", .nudge = [delivery] { delivery->nudge(); }, .stop = [delivery] { delivery->stop(); },
                            .pulse = [delivery] { return delivery->pulse(); },
                            .tell = [delivery](const messages::GatewaySays& said) { return delivery->tell(said); }};
          }};
}

}  // namespace driftline
