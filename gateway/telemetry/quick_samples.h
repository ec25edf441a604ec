// Samples as nearly all controllers write them, without a general parser.
#pragma once

#include <string_view>
#include <vector>

#include "gateway/telemetry/sample.h"

namespace driftline {

// Appends the samples of a payload that is one sample object or a list of them, holds only fields of the contract, each once
// and each valid, and is plainly written: no escapes, no exponents, at most 15 digits a number, times in UTC with Z or in
// milliseconds. Anything else, and so everything that could be a fault, is left to the decoder proper: false, with `out` as
// it was. Where it answers, it answers as the decoder proper does, to the bit (tests/fuzz/native.cpp holds the two
// together).
[[nodiscard]] bool quick_samples(std::string_view payload, Time received, std::vector<Sample>& out);

}  // namespace driftline
