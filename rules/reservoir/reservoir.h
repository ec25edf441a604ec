// The reservoir of one station: level, use, life, and what is wrong with it. A fold: value in, value out; bounded
// (tests/unit/reservoir/reservoir_test.cpp holds its bytes); no clock, no I/O. Costs about a microsecond an event.
//
// What counts the use is the turn, not the hour: grease leaves by charges. Each turn uses
//   n = charges * density / (10 * reservoir_kg)   [%; cm3, kg/l, kg]
// where the design is known (mass balance), 1 where not; the use u is in units of n (about 1 by mass balance, or per cent of
// the reservoir a turn). Level and u are followed by level_filter.h. Then
//   use a day  U = u * n per day, from the turns counted over the last days
//   life         = (level - empty mark) / U
//   variance of life = (var level + offset^2)/U^2 + life^2 * (var u/u^2 + turns a day^2 + v^2 * life/3)  (delta method)
// with the covariance of level and u, and v the day-to-day change of u over the last days: a use that has been changing will
// go on to (mean of a random walk over the life). 80 % interval by the normal law. Where u has risen or fallen along a
// straight line for days (Mann-Kendall |z| > 2.5, the line nearer to it than one step), that slope goes on, with half of it as its sigma.
//
// Findings (whole station), made whenever they change, and once a day while they hold:
//   reservoir-low         switch made in two readings, or level under its mark
//   short-reservoir-life  late end of the life's interval under `reservoir_notice_days`, or life under 0.7 of it
//   grease-use-shift      use against the learnt or designed use, beyond `smallest_shift` (15 %) and 4 standard errors; or
//                         a level that falls in a rest without turns, by more than a follower sticks
//   doubtful-sensor       the reading stays while turns have used more than any follower sticks; falls by more than use can;
//                         cannot be; or reconstruction says so
//
// Without a level sensor the level is counted down by turns from what a refill is believed to reach: 84 +- 12 %, or what
// this station's refills have reached, worked back from the turns between a refill and the low-level switch. While the
// switch is open the level is over its mark, and while turns are reached over the empty mark (truncated normal law); a count
// that had to be raised by more than it was uncertain tells of a refill that nobody noted.
//
// What it cannot know: where nothing reads the level and nobody tells a refill, life is unknown. A constant offset of the
// sensor (temperature) is inside the interval, not corrected. Over-use while all turns are regular is the same to the level
// as a leak: the causes' weights go by whether the lines took longer.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <variant>
#include <vector>

#include "rules/conditions/thresholds.h"
#include "rules/records/finding.h"
#include "rules/records/half_cycle.h"
#include "rules/records/settings.h"
#include "rules/records/station_event.h"
#include "rules/records/warning.h"
#include "rules/reservoir/level_filter.h"

namespace driftline::rules::reservoir {

// Readings at rest, averaged; a turn's start cuts them.
struct Bin {
  Time start{};
  float sum = 0;
  std::uint16_t readings = 0;
  bool after_turn = false;  // a pump run lies before it
  bool operator==(const Bin&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(start, sum, readings, after_turn);
  }
};

struct Bins {
  std::array<Bin, bins_max> bin{};
  std::uint8_t count = 0;
  bool cut = false;  // the pump ran since the last reading
  bool operator==(const Bins&) const = default;
  void add(Time time, double reading);
  // Mean and number of the readings before `until`, which are taken out; number 0: none.
  Bin take_before(Time until);
  template <class Archive>
  void serialize(Archive& archive) {
    archive(bin, count, cut);
  }
};

// The reading as it stood when it last moved, and what the filter believed then.
struct Still {
  float reading = -100;
  float level = 0;
  float use = 0;
  float nominal = 0;  // used since
  bool operator==(const Still&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(reading, level, use, nominal);
  }
};

enum class Doubt : std::uint8_t {
  none,
  stuck,       // stays while grease is used
  fell,        // fell by more than use can
  impossible,  // out of its range
  reported,    // reconstruction said so
};

struct Open {
  bool on = false;
  Urgency urgency = Urgency::notice;
  Time since{};
  float said = 0;  // life or value last said
  bool operator==(const Open&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(on, urgency, since, said);
  }
};

struct State {
  LevelFilter filter;
  Bins bins;
  Still still;
  std::array<float, uses_max> uses{};  // at the ends of the last days, oldest first
  std::array<float, uses_max> uses_lately{};  // likewise, by the agile filters: for a trend
  std::uint8_t use_count = 0;
  std::array<float, lines_max> time_usual{};  // time to pressure, smoothed slowly and quickly
  std::array<float, lines_max> time_now{};
  std::uint8_t turns_timed = 0;
  std::optional<Time> last_turn;       // its start
  std::optional<Time> last_reading_at;
  std::optional<Time> refilling_since;
  std::optional<Time> told_at;
  std::optional<Time> day;             // midnight at which the running day began
  Time last_event{};
  float nominal_sum = 0;               // decayed: nominal use and days of the last days
  float days_sum = 0;
  float turn_s = 0;                    // between turns of any line, smoothed
  float noise_var = 0.05F;             // of one reading
  float quantum = 0;                   // smallest step seen; 0: none yet
  float last_reading = -100;
  float usual_use = 0;                 // 0: not learnt yet
  float usual_sd = 0;
  float since_refill = -1;             // nominal use since the last refill; below 0: when it was is not known
  float pushed = 0;                    // level that the open switch, or turns still reached, have shown to be more than counted
  float pushed_from_sd = 0;            // how well the count was known when that began
  float fill_sum = 0;                  // levels after refills, read or worked back from the switch
  float from_sum = 0;                  // levels before refills that the sensor saw
  float refilled_from = -1;            // of the refill under way; below 0: none is
  std::uint8_t fills = 0;
  std::uint8_t refills_seen = 0;
  float fallen = 0;                    // level used up by turns since the start, %
  float rest_level = -1;               // as believed when this long rest began; below 0: no rest, or not known
  float rest_fall = 0;                 // % a day that leaves while no turn is made; 0: none is seen
  float shifted_pct = 0;               // level used up while the use is seen shifted; 0: it is not
  std::int8_t shift = 0;               // use is up (1) or down (-1)
  std::uint8_t odd = 0;                // readings in a row that do not fit
  std::uint8_t low_readings = 0;
  std::uint8_t misses = 0;             // last eight turns, newest in bit 0: target not reached
  bool started = false;
  bool designed = false;               // nominal use is by mass balance
  bool level_known = false;
  bool sensor_seen = false;
  bool was_at_rest = true;             // the last reading
  bool switch_seen = false;
  bool switch_made = false;
  bool switch_was_made = false;        // as last settled by two readings
  Doubt doubt = Doubt::none;
  Open low, life, use, sensor;
  bool operator==(const State&) const = default;

  template <class Archive>
  void serialize(Archive& archive) {
    archive(filter, bins, still, uses, uses_lately, use_count, time_usual, time_now, turns_timed, last_turn, last_reading_at, refilling_since, told_at, day,
            last_event, nominal_sum, days_sum, turn_s, noise_var, quantum, last_reading, usual_use, usual_sd, since_refill, pushed, pushed_from_sd, fill_sum, from_sum, refilled_from, fills, refills_seen, fallen, rest_level, rest_fall, shifted_pct, shift,
            odd, low_readings, misses, started, designed, level_known, sensor_seen, was_at_rest, switch_seen, switch_made, switch_was_made, doubt, low, life,
            use, sensor);
  }
};

struct Context {
  const StationId& id;
  const StationDesign& design;
  const Thresholds& thresholds;
};
using Output = std::variant<Finding, ReservoirDay>;  // the same type as rules::Judgement

// `received` is the gateway's clock and never goes back. Events older than what is already known of the same kind change
// nothing. A half-cycle may come before or after the readings that followed it.
void take(State& state, const HalfCycle& turn, Time received, const Context& context, std::vector<Output>& out);
void take(State& state, const LevelReading& reading, Time received, const Context& context, std::vector<Output>& out);
void take(State& state, const ServiceNote& note, Time received, const Context& context, std::vector<Output>& out);
void take(State& state, const SensorReport& report, Time received, const Context& context, std::vector<Output>& out);

// The end of the running day, some hours later: by then a silent station's day is told without it.
[[nodiscard]] std::optional<Time> wake_at(const State& state);
void advance_to(State& state, Time now, const Context& context, std::vector<Output>& out);

struct Life {
  std::optional<double> level_pct;
  std::optional<double> use_pct_per_day;
  std::optional<double> days;
  std::optional<double> days_low;
  std::optional<double> days_high;
};
// At `time`, which is not before the last event.
[[nodiscard]] Life life_at(const State& state, Time time, const Context& context);

}  // namespace driftline::rules::reservoir
