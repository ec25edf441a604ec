#include "gateway/app/accounts.h"

#include <algorithm>
#include <cmath>

#include "gateway/app/run_events.h"

namespace driftline {
namespace {

constexpr std::chrono::hours say_every{1};

SampleTotals& operator+=(SampleTotals& a, const SampleTotals& b) {
  a.used += b.used;
  a.doubled += b.doubled;
  a.behind += b.behind;
  a.held += b.held;
  a.refused += b.refused;
  return a;
}

SampleTotals operator-(SampleTotals a, const SampleTotals& b) {
  a.used -= b.used;
  a.doubled -= b.doubled;
  a.behind -= b.behind;
  a.held = 0;  // goes up and down
  a.refused -= b.refused;
  return a;
}

}  // namespace

SampleTotals totals_of(const StationSummary& s) {
  return {s.samples_used, s.samples_doubled, s.samples_behind, s.samples_held, s.samples_refused};
}

void Accounts::look_at_clock(const StationSummary& station, JudgingCounts& counts, double& most_s) {
  Known& known = stations_[station.station];
  const double off_s = station.stamped_behind_s.value_or(0);
  // Off at the bound, right at half of it: one that hovers is told once.
  const bool off = std::abs(off_s) >= (known.clock_off ? clock_off_told_s / 2 : clock_off_told_s);
  if (off != known.clock_off) off ? run_events::clock_off(station.station, off_s) : run_events::clock_right(station.station);
  known.clock_off = off;
  if (!off) return;
  ++counts.clocks_off;
  if (std::abs(off_s) <= most_s) return;
  most_s = std::abs(off_s);
  counts.clock_most_off = station.station.site + "/" + station.station.station;
}

void Accounts::say_withheld(const StationSummary& station) {
  Known& known = stations_[station.station];
  const SampleTotals now = totals_of(station);
  const SampleTotals since = now - known.said;
  known.said = now;
  if (since.refused + since.behind > 0) run_events::samples_withheld(station.station, since, now);
}

void Accounts::take(const std::vector<StationSummary>& stations, JudgingCounts& counts) {
  counts.samples = {};
  counts.clocks_off = 0;
  counts.clock_most_off.clear();
  SampleTotals added;
  std::optional<Time> newest;
  double most_s = 0;
  for (const StationSummary& station : stations) {
    const bool first = !stations_.contains(station.station);
    Known& known = stations_[station.station];
    const SampleTotals totals = totals_of(station);
    if (first && !said_) known.said = known.counted = totals;  // of an earlier process
    counts.samples += totals;
    added += totals - known.counted;
    known.counted = totals;
    look_at_clock(station, counts, most_s);
    if (station.last_received && (!newest || *newest < *station.last_received)) newest = station.last_received;
  }
  run_events::samples_counted(added);
  if (!said_) said_ = newest.value_or(Time{});
  if (!newest || *newest - *said_ < say_every) return;
  said_ = newest;
  for (const StationSummary& station : stations) say_withheld(station);
}

}  // namespace driftline
