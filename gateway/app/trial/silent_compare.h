// What a proposal would have said in silence, against what those in force said.
#pragma once

#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/rollout.h"
#include "gateway/app/trial/trial.h"

namespace driftline::trial {

// What both said since: of each station, as a candidate's result against those in force.
struct SilentComparison {
  struct Row {
    StationId id;
    std::vector<Episode> in_force;
    CandidateResult silent;  // without prices
  };
  Time since{};
  Time until{};                 // that all stations have reached
  std::vector<Row> stations;    // that have begun, with or without warnings
  std::size_t not_begun = 0;    // stations that the proposal is for and of which nothing has been judged yet
};
[[nodiscard]] tl::expected<SilentComparison, std::string> compare_silent(const std::string& data_folder, const rollout::Proposal& proposal,
                                                                         const std::vector<StationId>& stations);
// One sentence.
[[nodiscard]] std::string words_of(const SilentComparison& comparison);
// Each warning that one of the two has and the other has not, or not at the same time; a line each.
[[nodiscard]] std::vector<std::string> lines_of(const SilentComparison& comparison);

}  // namespace driftline::trial
