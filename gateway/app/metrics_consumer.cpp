#include "gateway/app/metrics_consumer.h"

#include <memory>

#include "gateway/app/clock.h"
#include "gateway/metrics/writer.h"

namespace driftline {

ConsumerMaker metrics_consumer(metrics::MetricsSettings settings) {
  return {metrics::cursor_use(), [settings = std::move(settings)](history::History& history) {
            const auto writer = std::make_shared<metrics::Writer>(settings, history, wall_now);
            writer->start();
            // It looks for new rows by itself. Its requests have limits of their own, so it is not watched.
            return Consumer{
                .name = "metrics", .nudge = [] {}, .stop = [writer] { writer->stop(); }, .pulse = {}};
          }};
}

}  // namespace driftline
