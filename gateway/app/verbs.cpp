#include "gateway/app/verbs.h"

#include <array>

namespace driftline {

std::span<const Verb> verbs() {
  static constexpr std::array all{
      Verb{"replay", "judge recorded telemetry and write what was made of it into files", verb_replay},
  };
  return all;
}

}  // namespace driftline
