// How long to wait before the next attempt: doubles from `min_s` to `max_s`, and is spread over its upper
// half so that a plant's gateways do not come back in step after a broker's restart. Pure; the caller brings
// chance, 0 <= uniform < 1.
#pragma once

#include <algorithm>

namespace driftline::broker {

struct BackoffRange {
  double min_s = 1;
  double max_s = 60;
};

[[nodiscard]] inline double backoff_s(int failures, BackoffRange range, double uniform) {
  double wait_s = range.min_s;
  for (int i = 1; i < failures && wait_s < range.max_s; ++i) wait_s *= 2;
  return std::min(wait_s, range.max_s) * (0.5 + 0.5 * uniform);
}

}  // namespace driftline::broker
