// Bounds of configuration, each with its reason.
#pragma once

#include <cstddef>

namespace driftline {

inline constexpr std::size_t config_file_bytes_max = 32U << 20;  // 20,000 stations take about 12 MB
inline constexpr int config_depth_max = 32;                      // the deepest schema has 6 levels
// Longer than any path or note; the schema's patterns are matched by std::regex, whose stack grows with the
// text.
inline constexpr std::size_t config_text_bytes_max = 4'096;
inline constexpr std::size_t config_files_max = 1'000;  // a file for each site of a large company
inline constexpr std::size_t config_problems_max =
    200;  // one wrong template makes thousands; nobody reads them

}  // namespace driftline
