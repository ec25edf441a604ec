// Turns of a station, for the resources that show them.
#pragma once

#include <optional>
#include <vector>

#include "gateway/web/resources.h"

namespace driftline::web {

// By pump start; of a span with too many the newest (limits.h).
[[nodiscard]] tl::expected<std::vector<history::Stored<history::HalfCycleRow>>, history::Trouble> turns_of(history::Reader& reader, const StationId& station,
                                                                                                          Time from, Time to);

struct TurnFound {
  history::Stored<history::HalfCycleRow> turn;
  std::optional<history::Stored<history::HalfCycleRow>> healthy;
  std::optional<std::int64_t> previous, next;  // of the same line
};
// The turn that the path names, and one in good order to lay it over.
[[nodiscard]] Or<TurnFound> turn_of(House& house, const Request& request, history::Reader& reader);

}  // namespace driftline::web
