// The time-series writer as a consumer of the running gateway.
#pragma once

#include "gateway/app/run.h"
#include "gateway/metrics/settings.h"

namespace driftline {

[[nodiscard]] ConsumerMaker metrics_consumer(metrics::MetricsSettings settings);

}  // namespace driftline
