// When a growing shift will meet its limit, with an 80 % interval.
//
// The history is kept as means over blocks of at least half a day; when the store is full, neighbours in its older half are
// merged, so that the onset stays visible and memory bounded.
//
// Models: the loss grows from an onset t0 as  s(t) = a (t - t0)^p,  p = 0 (a step that stays), 1 (linear) to 4 (accelerating). For a time to
// pressure the loss is the share of the delivery that no longer serves the line, s = 1 - TTP0/TTP: a worn pump or a leak
// takes flow away, and the time goes with its inverse, so wear that is linear in flow looks accelerating in seconds. For a
// pressure the loss is the rise itself.
// Hypotheses by which the limit would have been met already are all but dropped: it has not been.
// Every (t0, p) of a grid is fitted by weighted least squares (a in closed form) and weighted by its likelihood, given the
// block means' variance lasting^2/turns + wander^2, with a flat prior over t0 and a prior over p; the likelihood is taken to
// the power 1/2, because blocks beside each other are alike. a's own error spreads each crossing. A flow loss may
// break down before the average of the turn shows it (a leak grows with pressure, so the last bars fail first): the limit
// is taken at 50, 75 and 100 % of the loss, with even weights where it accelerates, else mostly at 100 %. The 10, 50 and 90 % points of that mixture are the forecast: model averaging rather than picking a curve,
// so that the interval says how little an early drift tells. (Hoeting et al., Bayesian Model Averaging, Statist. Sci. 14
// (1999), from memory.)
// Both ends are then drawn out a little (15 and 20 % of the time left) for what none of the laws holds.
// Nothing is "in sight" when less than half of the mixture crosses within `horizon_days`.
#pragma once

#include <array>
#include <optional>

#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr std::size_t wear_blocks_max = 24;
inline constexpr double horizon_days = 120;

struct WearBlock {
  float day = 0;   // mean of its turns, days since `origin`
  float mean = 0;  // of the shift, on the figure's scale
  float turns = 0;
  bool operator==(const WearBlock&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(day, mean, turns);
  }
};

struct WearHistory {
  Time origin{};
  int used = 0;
  float open_since_day = 0;  // start of the newest block
  std::array<WearBlock, wear_blocks_max> blocks{};
  bool operator==(const WearHistory&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(origin, used, open_since_day, blocks);
  }
};

void remember(WearHistory& history, Time time, double shift);

struct WearScale {
  bool share_of_flow = true;      // loss = 1 - exp(-shift); else the shift itself
  double limit_shift = 0;         // shift at which the limit is met
  double limit_deviation = 0;     // weather and scatter move that point
  double lasting_deviation = 0;   // of one turn
  double wander = 0;              // of a block, whatever its size
};

[[nodiscard]] Forecast forecast(const WearHistory& history, const WearScale& scale, Time now);

}  // namespace driftline::rules
