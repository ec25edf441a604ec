// Messages to people as a consumer of the running gateway.
#pragma once

#include <functional>

#include "gateway/app/run.h"
#include "gateway/messages/details.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/links.h"

namespace driftline {

// `between`: for tests, see DeliveryParts.
[[nodiscard]] ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links, std::function<void(const char*)> between = {},
                                              messages::Facts facts = {});

}  // namespace driftline
