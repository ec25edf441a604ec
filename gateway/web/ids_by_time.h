// Where in a table of the history a moment lies, for tables whose ids follow time.
#pragma once

#include <algorithm>
#include <cstdint>

#include <tl/expected.hpp>

#include "gateway/history/rows.h"

namespace driftline::web {

// All rows with a higher id are not before `from`. `after(id)` gives at most the one row that follows it.
template <typename After, typename TimeOf>
tl::expected<std::int64_t, history::Trouble> id_before(std::int64_t last, Time from, After after, TimeOf time_of) {
  std::int64_t low = 0;
  std::int64_t high = last;
  while (low < high) {
    const std::int64_t middle = low + (high - low) / 2;
    const auto rows = after(middle);
    if (!rows) return tl::unexpected(rows.error());
    if (rows->empty() || time_of(rows->front().row) >= from) high = middle;
    else low = std::max(middle + 1, rows->front().id);
  }
  return low;
}

}  // namespace driftline::web
