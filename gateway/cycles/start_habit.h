// What earlier turns of a line taught about the beginning of its rise, and the pump start read with it.
//
// The pump's start is known only to a sampling interval: it lies between the last sample at rest and the first with the
// pump running. The rise tells where in between, but its first seconds are soft (air, stiff grease, a gauge at the far
// end), and a straight line carried back misses the start by seconds. Turns of one line begin alike, though, and each
// is sampled at another phase: laid over one another they show the beginning finer than any one of them.
//
// Kept: the mean rise above the residual pressure, against time, in bins of a part of the interval, forgetting old turns;
// and where the first samples of the last turns lay against it. A new turn is laid on the mean rise (shift and a stretch
// in time); where the start lies on the mean rise's time axis is what puts all those first samples within one interval
// after it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace driftline::cycles {

inline constexpr int start_bins_per_interval = 5;
inline constexpr int start_bins_before = 5;   // the mean rise begins one interval before its start
inline constexpr int start_bins = start_bins_before + 6 * start_bins_per_interval + 1;
inline constexpr std::size_t starts_kept = 32;

struct RisePoint {
  double after_first_s = 0;  // since the first sample of the run
  double rise_bar = 0;       // above the residual pressure
};

struct StartEstimate {
  double before_first_s = 0;  // the pump started this long before the first sample of the run
  double error_s = 0;         // standard error expected
};

struct StartHabit {
  float interval_s = 0;                 // spacing for which the bins hold; 0: nothing learnt
  float turns = 0;                      // turns behind it, forgotten at the same rate
  std::array<float, start_bins> sum{};  // bar, weighted
  std::array<float, start_bins> weight{};
  std::array<float, starts_kept> first_s{};   // where first samples lay, s on the mean rise's axis
  std::array<float, starts_kept> spread_s{};  // how surely
  std::uint8_t firsts = 0;
  std::uint8_t next = 0;
  bool operator==(const StartHabit&) const = default;
};

// `window_s`: the start lies within this before the first sample. `points` are the first samples of the run, first one
// at 0. Learns from the turn.
[[nodiscard]] StartEstimate estimate_start(StartHabit& habit, std::span<const RisePoint> points, double interval_s,
                                           double window_s);

// The same without a habit: the first rise carried back to nothing, within the window.
[[nodiscard]] StartEstimate extrapolate_start(std::span<const RisePoint> points, double interval_s, double window_s);

}  // namespace driftline::cycles
