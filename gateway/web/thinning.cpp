#include "gateway/web/thinning.h"

#include <algorithm>
#include <numeric>

namespace driftline::web {
namespace {

// Of [first, last).
void keep_of_stretch(const std::vector<ThinPoint>& all, std::size_t first, std::size_t last, std::vector<std::size_t>& kept) {
  std::optional<std::size_t> lowest;
  std::optional<std::size_t> highest;
  std::optional<std::size_t> gap;
  for (std::size_t i = first; i < last; ++i) {
    if (all[i].keep) kept.push_back(i);
    if (!all[i].value) {
      gap = i;
      continue;
    }
    if (!lowest || *all[i].value < *all[*lowest].value) lowest = i;
    if (!highest || *all[i].value > *all[*highest].value) highest = i;
  }
  for (const auto& i : {std::optional(first), lowest, highest, gap, std::optional(last - 1)})
    if (i) kept.push_back(*i);
}

}  // namespace

std::vector<std::size_t> thin(const std::vector<ThinPoint>& all, std::size_t points) {
  std::vector<std::size_t> kept;
  if (all.size() <= points || points < 4) {
    kept.resize(all.size());
    std::iota(kept.begin(), kept.end(), std::size_t{0});
    return kept;
  }
  const std::size_t stretches = points / 4;
  const std::int64_t from = all.front().at_ms;
  const std::int64_t length = std::max<std::int64_t>(1, all.back().at_ms - from + 1);
  const auto stretch_of = [&](std::size_t i) { return static_cast<std::size_t>((all[i].at_ms - from) * static_cast<std::int64_t>(stretches) / length); };
  for (std::size_t first = 0; first < all.size();) {
    std::size_t last = first + 1;
    while (last < all.size() && stretch_of(last) == stretch_of(first)) ++last;
    keep_of_stretch(all, first, last, kept);
    first = last;
  }
  std::sort(kept.begin(), kept.end());
  kept.erase(std::unique(kept.begin(), kept.end()), kept.end());
  return kept;
}

}  // namespace driftline::web
