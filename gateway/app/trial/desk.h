// Proposals as the page asks for them: JSON in, JSON out; an error is words for a person. `rollout.h` does it.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "rules/records/time.h"

namespace driftline::trial {

using Told = tl::expected<std::string, std::string>;

// {"proposals":[{"name","for","thresholds","state","done":[{"act","at_ms","by","why","days"}],"silence":null|{"words","differences":[],"until_ms"}}],
// "groups":[{"for":"kind twin","stations":["northyard/ps-01"]}]}, newest first. `silence`: what has been judged in silence so far.
[[nodiscard]] Told proposals_json(const std::string& config_folder, const std::string& data_folder);
// {"for","thresholds","why","by"}; `user`: who signed in, else the body says it. Gives the proposal.
[[nodiscard]] Told propose_json(const std::string& config_folder, const std::string& user, std::string_view body, Time now);
// {"act":"silent"|"enforce"|"take-back"|"withdraw","why","by","days"}. Gives the proposal, "files" that were written and "notes".
[[nodiscard]] Told act_json(const std::string& config_folder, const std::string& user, const std::string& name, std::string_view body, Time now);

}  // namespace driftline::trial
