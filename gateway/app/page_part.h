// The page as a part of the running gateway: what gateway/web wants to know of it, put together.
#pragma once

#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/config.h"
#include "gateway/app/intake.h"
#include "gateway/app/judging.h"
#include "gateway/app/run.h"
#include "gateway/app/trial/bench.h"
#include "gateway/web/web.h"

namespace driftline {

class PagePart {
 public:
  struct Sources {  // all outlive the page
    history::History* history = nullptr;
    Intake* intake = nullptr;
    Judging* judging = nullptr;
    journal::Journal* journal = nullptr;
    std::function<GatewayStatus()> status;
    std::function<void()> acted{};  // somebody did something to a warning
    std::function<std::optional<web::HeartbeatNow>()> heartbeat{};
  };
  // Listens; an error is a sentence for a person.
  [[nodiscard]] static tl::expected<std::shared_ptr<PagePart>, std::string> open(const GatewaySettings& settings, Sources sources);

  void start() { web_->start(); }
  void stop() { web_->stop(); }
  void nudge() { web_->nudge(); }
  void reload(const GatewaySettings& settings);
  // From the judging thread; neither blocks.
  void show(Time as_of, std::vector<StationSummary> stations);
  void seen(std::vector<Judged::SeenRow> rows);

  [[nodiscard]] std::uint64_t pulse() const { return web_->pulse(); }
  [[nodiscard]] std::string url() const { return web_->url(); }

 private:
  explicit PagePart(Sources sources) : sources_(std::move(sources)) {}
  [[nodiscard]] web::WebParts parts(const GatewaySettings& settings);
  [[nodiscard]] web::GatewayNow gateway_now() const;
  [[nodiscard]] std::vector<web::ThresholdNow> thresholds(const StationId& station) const;
  void take(const GatewaySettings& settings);

  const Sources sources_;
  [[nodiscard]] web::BenchParts bench_parts(const GatewaySettings& settings);
  [[nodiscard]] rules::StationContext context_of(const StationId& station) const;
  std::unique_ptr<trial::Bench> bench_;
  std::unique_ptr<web::Web> web_;
  mutable std::mutex mutex_;  // all below
  std::shared_ptr<const web::PlantNow> plant_;
  std::shared_ptr<const web::Configured> configured_;
  std::function<std::vector<EffectiveThreshold>(const StationId&)> explain_;
  std::shared_ptr<const messages::DutyList> duty_;
  Thresholds defaults_;  // of stations that no configuration names
  std::optional<Time> heard_;
};

}  // namespace driftline
