// What the page shows of the duty list: its channels, and who would be told of a warning.
#pragma once

#include "gateway/messages/duty.h"
#include "gateway/web/parts.h"

namespace driftline {

[[nodiscard]] web::DutyNow duty_now(const messages::DutyList& duty);
[[nodiscard]] web::WhoTold who_told(const messages::DutyList& duty, const history::WarningRef& warning, Urgency urgency, Time at);

}  // namespace driftline
