#include "gateway/app/metrics_consumer.h"

#include <memory>

#include "gateway/app/clock.h"
#include "gateway/metrics/writer.h"

namespace driftline {
namespace {

std::optional<std::string> trouble_of(const metrics::WriterStatus& status) {
  using State = metrics::WriterStatus::State;
  if (status.state == State::idle || status.state == State::sending) return std::nullopt;
  return "the time-series store takes nothing: " + status.why;
}

}  // namespace


ConsumerMaker metrics_consumer(metrics::MetricsSettings settings) {
  return {metrics::cursor_use(), [settings = std::move(settings)](history::History& history) {
            const auto writer = std::make_shared<metrics::Writer>(settings, history, wall_now);
            writer->start();
            // It looks for new rows by itself.
            return Consumer{.name = "metrics",
                            .nudge = [] {},
                            .stop = [writer] { writer->stop(); },
                            .pulse = [writer] { return writer->pulse(); },
                            .trouble = [writer] { return trouble_of(writer->status()); }};
          }};
}

}  // namespace driftline
