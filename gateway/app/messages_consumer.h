// Messages to people as a consumer of the running gateway.
#pragma once

#include <functional>

#include "gateway/app/run.h"
#include "gateway/messages/details.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/links.h"

namespace driftline {

// `links` lead to the page. Where the duty list knows the page's address, those for acknowledging become signed ones
// (gateway/messages/confirm.h), by the key in the history's folder. `between`: for tests, see DeliveryParts.
[[nodiscard]] ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links, std::function<void(const char*)> between = {},
                                              messages::Facts facts = {});

}  // namespace driftline
