// Figures, times and lengths of time as people read them: units by site, clock by zone, words by language. Pure.
#pragma once

#include <string>
#include <string_view>

#include "gateway/messages/duty.h"
#include "rules/records/time.h"

namespace driftline::messages {

// 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8; from memory).
inline constexpr double psi_per_bar = 1e5 / 6894.757;

// Three figures: "88.2", "150", "0.42".
[[nodiscard]] std::string number_text(double value);
// With its unit; figures whose name ends in _bar in psi where the site wants them so.
[[nodiscard]] std::string figure_text(std::string_view figure, double value, const Units& units, const Words& words);
// "250 bar" and "12 C" within a sentence, in the units of the site.
[[nodiscard]] std::string in_units(std::string_view sentence, const Units& units);
// "2026-01-12 13:00", by the clock of that zone.
[[nodiscard]] std::string clock_text(Time time, const std::string& zone);
// "now", "18 h", "2.5 days", "9 days", "more than 120 days".
[[nodiscard]] std::string length_text(double days, const Words& words);
// "6 to 14 days", "now to 18 h"; one length where both are the same.
[[nodiscard]] std::string between_text(double low_days, double high_days, const Words& words);

// Cut at a character's edge; what was cut shows as an ellipsis.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t characters);
[[nodiscard]] std::size_t characters_of(std::string_view text);

}  // namespace driftline::messages
