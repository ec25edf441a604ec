// Changes in a configuration file as a person would make them: only the values that change are touched; order, comments and
// layout of all else stay as they are. JSON with comments, as the loader takes it.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "gateway/app/config_json.h"

namespace driftline {

// The text with a merge patch (RFC 7396) laid over the object at `pointer` (RFC 6901), which is made where it is missing; what
// lies on the way to it must be there. Objects of the patch that are not objects in the text replace what stands there. The
// text has been read by read_json_text without a problem; an error is a sentence.
[[nodiscard]] tl::expected<std::string, std::string> edited(std::string_view text, std::string_view pointer, const Json& patch);

// A value on one line: { "smallest_shift_pct": 10 }.
[[nodiscard]] std::string written(const Json& value);

}  // namespace driftline
