// The list of stations as the bytes of an answer, made once for all who ask for the same list. Any thread.
#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <mutex>
#include <string>

#include "gateway/web/fleet.h"
#include "gateway/web/request.h"
#include "gateway/web/sessions.h"

namespace driftline::web {

class PackedFleet {
 public:
  struct Both {
    std::string tag;
    Bytes plain, gzip;
  };
  using Make = std::function<std::string()>;
  // `make` is called where the list has changed, or where its ages have grown old.
  [[nodiscard]] Both get(const std::shared_ptr<const FleetNow>& now, std::size_t strips, std::chrono::nanoseconds steady, const Make& make);

 private:
  std::mutex mutex_;
  std::shared_ptr<const FleetNow> now_;
  std::size_t strips_ = 0;
  std::chrono::nanoseconds made_at_{};
  std::int64_t made_ = 0;
  const std::string run_ = random_token().substr(0, 8);
  Both both_;
};

}  // namespace driftline::web
