// What a server's answer means for the rows that were sent. Pure.
#pragma once

#include <cstdint>

namespace driftline::metrics {

enum class Verdict : std::uint8_t {
  taken,      // 2xx
  bad_rows,   // 400, 422: at least one row is not acceptable; some may have been stored all the same
  too_large,  // 413: send fewer
  wait,       // no answer, 408, 429, 5xx: later, the same again
  denied,     // anything else, such as 401, 403, 404, a redirect: a person must act; the rows stay
};

[[nodiscard]] constexpr Verdict verdict_of(int status) {
  if (status >= 200 && status < 300) return Verdict::taken;
  if (status == 400 || status == 422) return Verdict::bad_rows;
  if (status == 413) return Verdict::too_large;
  if (status == 0 || status == 408 || status == 425 || status == 429 || status >= 500) return Verdict::wait;
  return Verdict::denied;
}

}  // namespace driftline::metrics
