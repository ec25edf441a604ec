// The journal as a recording, so that what the gateway judged can be replayed: `driftline replay`, candidate
// thresholds, a fault report. The gateway must not run on the data folder meanwhile: the journal has one
// owner.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include <tl/expected.hpp>

namespace driftline {

// Writes what `<data_folder>/journal` still holds into `recording` (gzip when it ends in .gz), in order of
// arrival. The number of messages, or a sentence for a person.
[[nodiscard]] tl::expected<std::uint64_t, std::string> record_journal(
    const std::filesystem::path& data_folder, const std::filesystem::path& recording);

}  // namespace driftline
