// When a growing shift will meet its limit, with an 80 % interval.
//
// The history is kept as means over blocks of at least half a day; when the store is full, neighbours in its older half are
// merged, so that the onset stays visible and memory bounded.
//
// Models: the loss s grows from an onset t0 as  s(t) = a (t - t0)^p,  p = 0 (a step that stays), 1 (linear) to 4 (accelerating).
// What a shift of the logarithm of the time to pressure, x = log(TTP/TTP0), says of the loss depends on where the flow goes:
//   even           the same share q of the delivery at every pressure (a pump that draws badly):  x = -log(1 - q)
//   with_pressure  a share l p/p_target (a leak, a pump that slips: laminar gap flow grows with the pressure). With the plateau's
//                  share f of the time, at the share r of the target, and the rest a rise that is even in pressure:
//                  x = log( f/(1 - l r) + (1 - f) (-log(1 - l)/l) )      (the time in which a volume is delivered against the leak)
// So wear that is linear in its cause looks accelerating in seconds, most of all close to the end: at l = 1 the target is
// out of reach. f and r are the line's own. Both laws are followed with their prior weights. For a pressure the loss is the
// rise itself; for a vent it is what its opening no longer lets through (even).
// A line that moves alone is held against the others of its station, block by block: what they share, the weather above all,
// is then no wear and no noise.
// Hypotheses by which the limit would have been met already are all but dropped: it has not been.
// Every (law, t0, p) of a grid is fitted by weighted least squares (a in closed form) and weighted by its likelihood, given the
// block means' variance lasting^2/turns + wander^2, with a flat prior over t0 and a prior over p. The likelihood is taken to
// the power 0.3: errors of the baseline last for about three blocks. a's own error and the limit's spread each
// crossing. The 10, 50 and 90 % points of that mixture are the forecast: model averaging rather than picking a curve,
// so that the interval says how little an early drift tells. (Hoeting et al., Bayesian Model Averaging, Statist. Sci. 14
// (1999), from memory.)
// Both ends are then drawn out a little (15 and 20 % of the time left) for what none of the laws holds.
// Nothing is "in sight" when less than half of the mixture crosses within `horizon_days`.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "rules/records/finding.h"
#include "rules/records/time.h"

namespace driftline::rules {

inline constexpr double horizon_days = 120;

struct WearBlock {
  float day = 0;   // mean of its turns, days since `origin`
  float mean = 0;  // of the shift, on the figure's scale
  float others = 0;  // mean shift of the station's other lines at the same time
  float turns = 0;
  bool operator==(const WearBlock&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(day, mean, others, turns);
  }
};

struct WearView {
  Time origin{};
  std::span<const WearBlock> blocks;
};

// `Blocks` bounds the memory; a figure whose forecast is rarely wanted has few.
template <std::size_t Blocks>
struct WearStore {
  Time origin{};
  int used = 0;
  float open_since_day = 0;  // start of the newest block
  std::array<WearBlock, Blocks> blocks{};
  bool operator==(const WearStore&) const = default;
  [[nodiscard]] WearView view() const { return {origin, std::span(blocks).first(static_cast<std::size_t>(used))}; }
  template <class Archive>
  void serialize(Archive& archive) {
    archive(origin, used, open_since_day, blocks);
  }
};
inline constexpr std::size_t wear_blocks_max = 20;
using WearHistory = WearStore<wear_blocks_max>;
using ShortWearHistory = WearStore<10>;

// The block that takes a turn at `day`, made where none is open: older ones are merged when the store is full.
[[nodiscard]] WearBlock& wear_block_at(std::span<WearBlock> blocks, int& used, float& open_since_day, float day);
void add_to(WearBlock& block, float day, double shift, double others);

// `others`: the mean shift of the other lines just then; 0 where there are none.
template <std::size_t Blocks>
void remember(WearStore<Blocks>& history, Time time, double shift, double others = 0) {
  if (history.used == 0) history.origin = time;
  const auto day = static_cast<float>(days_between(history.origin, time));
  add_to(wear_block_at(history.blocks, history.used, history.open_since_day, day), day, shift, others);
}

// What a shift says of the loss behind it.
enum class LossLaw : std::uint8_t {
  plain,          // the shift itself
  even,           // a share of the flow that is the same at every pressure: 1 - exp(-shift)
  with_pressure,  // a share that grows with the pressure, told at the target
};
inline constexpr std::size_t loss_laws = 3;

struct WearScale {
  std::array<double, loss_laws> laws{0, 0.5, 0.5};  // how likely each is before the figures are looked at
  double plateau_share = 0.4;     // of the time to pressure, spent on the metering plateau
  double plateau_level = 0.4;     // its pressure, share of the target
  double limit_shift = 0;         // shift at which the limit is met
  double limit_deviation = 0;     // weather and scatter move that point
  double lasting_deviation = 0;   // of one turn
  double wander = 0;              // of a block, whatever its size
  double less_others = 0;         // share of the other lines' shift that is taken off: 1 where the line moved alone
};

// The loss behind a shift of the logarithm of the time to pressure, and back.
[[nodiscard]] double loss_of(double shift, LossLaw law, const WearScale& scale);
[[nodiscard]] double shift_of_loss(double loss, LossLaw law, const WearScale& scale);

[[nodiscard]] Forecast forecast(const WearView& history, const WearScale& scale, Time now);
template <std::size_t Blocks>
[[nodiscard]] Forecast forecast(const WearStore<Blocks>& history, const WearScale& scale, Time now) {
  return forecast(history.view(), scale, now);
}

}  // namespace driftline::rules
