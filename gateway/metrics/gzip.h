// RFC 1952.
#pragma once

#include <string>
#include <string_view>

namespace driftline::metrics {

// Empty only if memory is short.
[[nodiscard]] std::string gzipped(std::string_view bytes);

}  // namespace driftline::metrics
