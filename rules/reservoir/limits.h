// What the reservoir's judgement takes for granted, each with its reason. Level in per cent of a full reservoir.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace driftline::rules::reservoir {

// A magnet follower sticks: the reading stays until the level has left it by this much, then jumps to the level.
// Common practice, no source: none to 3 %.
inline constexpr std::array<double, 5> stick_pct{0, 0.75, 1.5, 2.25, 3};
inline constexpr std::size_t follower_count = stick_pct.size();

inline constexpr double density_kg_l_default = 0.9;   // lithium greases, common practice
inline constexpr double low_pct_default = 10;
inline constexpr double empty_pct_default = 3.5;
inline constexpr double empty_pct_spread = 1.3;       // of the default, 1 sigma

inline constexpr double design_use_spread = 0.03;     // charges and reservoir as drawn against as built, 1 sigma of the use
inline constexpr double unknown_use_pct_a_day = 5;    // where the design is unknown: start and sigma, common practice
inline constexpr double unknown_turn_s = 3600;        // between turns, until two have come
inline constexpr double calm_wander = 0.003;          // share of the use, 1 sigma in a day: devices and charges drift slowly
inline constexpr double agile_wander = 0.06;          // likewise, where it is thought to be changing
inline constexpr double turn_spread = 0.03;           // of one turn's use

inline constexpr double refill_pct_min = 5;           // a rise of less could be the follower
inline constexpr double refill_pct_min_told = 2.5;    // when a person said so
inline constexpr double refill_s = 1500;              // a refill is over after this; readings in it restart the level
inline constexpr double told_s = 4 * 3600.0;          // a note belongs to a rise this long before or after it
inline constexpr double filled_to_pct = 84;           // where nothing reads the level: people fill to about this
inline constexpr double filled_to_spread_pct = 12;

inline constexpr double fill_spread_pct = 8;           // from one refill of a station to the next
inline constexpr double pushed_pct_least = 3;          // the count proved wrong by more than this, and by more than
inline constexpr double pushed_sds = 1.5;              // so many of its sigma: it was refilled untold,
inline constexpr double refilled_over_mark_pct = 8;    // at about so much over the mark (common practice, no source)
inline constexpr double low_margin_pct = 2;            // a switch that is open contradicts a level that is under its mark by less
inline constexpr std::uint8_t refills_kept = 20;       // people's habit is known by then
inline constexpr double jump_pct_min = 8;             // a fall of more between two readings is no use of grease
inline constexpr double readable_low_pct = -2;        // outside these a reading cannot be
inline constexpr double readable_high_pct = 104;
inline constexpr double rest_fall_pct_min = 3.5;      // a fall in a rest by less could be the follower and the temperature
inline constexpr double level_offset_spread_pct = 0.35;  // temperature and mounting of the sensor, not learnt

inline constexpr std::size_t uses_max = 12;           // days of use behind a trend
inline constexpr std::size_t bins_max = 16;
inline constexpr double bin_s = 600;                  // readings are averaged over this at least
inline constexpr int days_at_once_max = 31;           // rows told at once after a long silence

}  // namespace driftline::rules::reservoir
