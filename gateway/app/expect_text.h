// What `driftline expect` says: a table, a plot, JSON, SVG. Text in, text out.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "rules/hydraulics/expected_turn.h"

namespace driftline {

struct NamedDesign {
  std::string name;  // "site/station"
  StationDesign design;
};

// Stations of a plant file; the error is a sentence.
[[nodiscard]] tl::expected<std::vector<NamedDesign>, std::string> read_designs(std::string_view text);

[[nodiscard]] std::string expectation_table(const NamedDesign& station, const hydraulics::Expectation& expectation);
[[nodiscard]] std::string expectation_plot(const NamedDesign& station, const hydraulics::Expectation& expectation);
[[nodiscard]] std::string expectation_json(const NamedDesign& station, const hydraulics::Expectation& expectation);
[[nodiscard]] std::string expectation_svg(const NamedDesign& station, const hydraulics::Expectation& expectation);

}  // namespace driftline
