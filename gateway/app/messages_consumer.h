// Messages to people as a consumer of the running gateway.
#pragma once

#include "gateway/app/run.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/links.h"

namespace driftline {

[[nodiscard]] ConsumerMaker messages_consumer(messages::DutyList duty, messages::Links links);

}  // namespace driftline
