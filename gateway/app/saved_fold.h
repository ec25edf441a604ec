// States of stations and sites as bytes that the history keeps, version first.
#pragma once

#include <string>
#include <string_view>

#include "gateway/app/fold.h"

namespace driftline::fold {

[[nodiscard]] std::string saved(const Station& station);
[[nodiscard]] std::string saved(const Site& site);

// False: the bytes are of another version or damaged, and nothing was changed.
[[nodiscard]] bool restore(Station& station, std::string_view bytes);
[[nodiscard]] bool restore(Site& site, std::string_view bytes);

}  // namespace driftline::fold
