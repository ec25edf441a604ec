#include <algorithm>

#include "rules/reservoir/reservoir.h"

namespace driftline::rules::reservoir {

void Bins::add(Time time, double reading) {
  if (count > 0 && !cut && seconds_between(bin[count - 1U].start, time) < bin_s) {
    Bin& last = bin[count - 1U];
    last.sum += static_cast<float>(reading);
    ++last.readings;
    return;
  }
  if (count == bin.size()) {
    // Full: the oldest two of one rest become one.
    std::size_t second = 1;
    while (second + 1 < bin.size() && bin[second].after_turn) ++second;
    bin[second - 1].sum += bin[second].sum;
    bin[second - 1].readings = static_cast<std::uint16_t>(bin[second - 1].readings + bin[second].readings);
    std::move(bin.begin() + static_cast<std::ptrdiff_t>(second) + 1, bin.end(),
              bin.begin() + static_cast<std::ptrdiff_t>(second));
    --count;
  }
  bin[count++] = {time, static_cast<float>(reading), 1, cut};
  cut = false;
}

Bin Bins::take_before(Time until) {
  Bin block{};
  std::size_t taken = 0;
  while (taken < count && bin[taken].start < until) {
    if (taken == 0) block.start = bin[0].start;
    block.sum += bin[taken].sum;
    block.readings = static_cast<std::uint16_t>(block.readings + bin[taken].readings);
    ++taken;
  }
  std::move(bin.begin() + static_cast<std::ptrdiff_t>(taken), bin.begin() + count, bin.begin());
  std::fill(bin.begin() + static_cast<std::ptrdiff_t>(count - taken), bin.begin() + count, Bin{});
  count = static_cast<std::uint8_t>(count - taken);
  return block;
}

}  // namespace driftline::rules::reservoir
