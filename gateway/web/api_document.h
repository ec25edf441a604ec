// openapi.json, as part of the program (CMakeLists.txt makes the definition from the file).
#pragma once

#include <string_view>

namespace driftline::web {

[[nodiscard]] std::string_view api_document_text();

}  // namespace driftline::web
