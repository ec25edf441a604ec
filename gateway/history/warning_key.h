// A warning as people and programs name it: SITE/STATION/PLACE/CONDITION, such as northyard/ps-01/line-2/slow-to-pressure; the
// place of what concerns the whole station is `station`. The last four levels of its topics are the same.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "gateway/history/life_rows.h"

namespace driftline::history {

[[nodiscard]] std::string key_text(const WarningRef& warning);
// Empty: it is none. Site and station are of the letters of a StationId.
[[nodiscard]] std::optional<WarningRef> warning_of_key(std::string_view key);

}  // namespace driftline::history
