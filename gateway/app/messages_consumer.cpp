#include "gateway/app/messages_consumer.h"

#include <atomic>
#include <memory>

#include "gateway/app/clock.h"
#include "gateway/messages/delivery.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

messages::GatewaySays started(Time now) {
  return {"start|" + rfc3339(now), "driftline has started",
          "The gateway started at " + rfc3339(now) + ". While it was stopped nothing was judged; what came in meanwhile is now.\n"};
}

}  // namespace

ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links, std::function<void(const char*)> between) {
  const history::CursorUse cursor{.name = "messages", .feeds = {}};  // what was told is in the history: no place to keep
  return {cursor, [duty = std::move(duty), links = std::move(links), between = std::move(between)](history::History& history) {
            messages::DeliveryParts parts;
            parts.history = &history;
            parts.wall = wall_now;
            parts.links = links;
            parts.between = between;
            const auto delivery = std::make_shared<messages::Delivery>(duty, std::move(parts));
            delivery->start();
            static std::atomic<bool> told{false};  // a reload starts its consumers anew: no news
            if (!told.exchange(true)) delivery->tell(started(wall_now()));
            return Consumer{.name = "messages", .nudge = [delivery] { delivery->nudge(); }, .stop = [delivery] { delivery->stop(); },
                            .pulse = [delivery] { return delivery->pulse(); },
                            .tell = [delivery](const messages::GatewaySays& said) { delivery->tell(said); }};
          }};
}

}  // namespace driftline
