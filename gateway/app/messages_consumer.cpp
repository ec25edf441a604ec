#include "gateway/app/messages_consumer.h"

#include <atomic>
#include <memory>

#include "gateway/app/clock.h"
#include "gateway/messages/delivery.h"
#include "rules/records/time_text.h"

namespace driftline {

ConsumerMaker messages_consumer(messages::DutyList duty) {
  const history::CursorUse cursor{.name = "messages", .feeds = {}};  // what was told is in the history: no place to keep
  return {cursor, [duty = std::move(duty)](history::History& history) {
            messages::DeliveryParts parts;
            parts.history = &history;
            parts.wall = wall_now;
            const auto delivery = std::make_shared<messages::Delivery>(duty, std::move(parts));
            delivery->start();
            static std::atomic<bool> told{false};  // a reload starts its consumers anew: no news
            if (!told.exchange(true)) delivery->tell_start();
            return Consumer{.name = "messages", .nudge = [delivery] { delivery->nudge(); }, .stop = [delivery] { delivery->stop(); },
                            .pulse = [delivery] { return delivery->pulse(); }};
          }};
}

}  // namespace driftline
