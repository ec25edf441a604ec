// What may stand in a topic.
#pragma once

#include <string_view>

namespace driftline {

// 1 to 64 characters of A-Z a-z 0-9 . _ -
[[nodiscard]] bool is_id(std::string_view text);

}  // namespace driftline
