// One HTTP request at a time, over libcurl, with every limit explicit.
#pragma once

#include <chrono>
#include <memory>
#include <string>
#include <string_view>

#include "gateway/metrics/settings.h"

namespace driftline::metrics {

struct Answer {
  int status = 0;                       // 0: no answer came, `text` says why
  std::string text;                     // the body, cut at limits.h
  std::chrono::seconds retry_after{0};  // 0: not given; a date is turned into seconds from now
};

// What the batch goes to. A name of a database with odd characters is escaped; secrets are not part of it.
[[nodiscard]] std::string write_url(const MetricsSettings& settings);

// One thread. Keeps its connection open between requests.
class Poster {
 public:
  explicit Poster(const MetricsSettings& settings);
  Poster(const Poster&) = delete;
  Poster& operator=(const Poster&) = delete;
  ~Poster();

  // Sends `lines` gzipped. Never throws; what goes wrong is in the answer.
  [[nodiscard]] Answer post(std::string_view lines);

  // From another thread: a request under way ends soon, all later ones at once.
  void abandon();

 private:
  struct Handle;
  std::unique_ptr<Handle> handle_;
};

}  // namespace driftline::metrics
