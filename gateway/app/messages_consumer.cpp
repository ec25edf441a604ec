#include "gateway/app/messages_consumer.h"

#include <atomic>
#include <memory>

#include "gateway/app/clock.h"
#include "gateway/messages/delivery.h"
#include "gateway/messages/measures.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

messages::GatewaySays started(const messages::DutyList& duty, Time now) {
  return {"start|" + rfc3339(now), duty.words.say("self/started"), duty.words.say("self/started-body", {{"time", messages::clock_text(now, duty.zone)}}) + "\n"};
}

}  // namespace

ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links, std::function<void(const char*)> between, messages::Facts facts) {
  const history::CursorUse cursor{.name = "messages", .feeds = {}};  // what was told is in the history: no place to keep
  return {cursor, [duty = std::move(duty), links = std::move(links), facts = std::move(facts), between = std::move(between)](history::History& history) {
            messages::DeliveryParts parts;
            parts.history = &history;
            parts.wall = wall_now;
            parts.links = links;
            parts.facts = facts;
            parts.between = between;
            const auto delivery = std::make_shared<messages::Delivery>(duty, std::move(parts));
            delivery->start();
            static std::atomic<bool> told{false};  // a reload starts its consumers anew: no news
            if (!told.exchange(true)) delivery->tell(started(duty, wall_now()));
            return Consumer{.name = "messages", .nudge = [delivery] { delivery->nudge(); }, .stop = [delivery] { delivery->stop(); },
                            .pulse = [delivery] { return delivery->pulse(); },
                            .tell = [delivery](const messages::GatewaySays& said) { delivery->tell(said); }};
          }};
}

}  // namespace driftline
