// What became of every sample, station by station, and whose clocks are off: into the counters, the health file and the log.
#pragma once

#include <chrono>
#include <map>
#include <vector>

#include "gateway/app/judging.h"
#include "gateway/app/plant.h"

namespace driftline {

// Off by this a station's turns are told at the wrong time of day, and people compare them with the wrong shift.
inline constexpr double clock_off_told_s = 600;

class Accounts {
 public:
  // Call every few seconds. Fills the totals of `counts`, counts what has been added since the call before, says once of a
  // station that its clock is off (and that it is right again), and once an hour of plant time what was withheld.
  void take(const std::vector<StationSummary>& stations, JudgingCounts& counts);

 private:
  void look_at_clock(const StationSummary& station, JudgingCounts& counts, double& most_s);
  void say_withheld(const StationSummary& station);

  struct Known {
    SampleTotals counted;  // as of the call before
    SampleTotals said;     // as of the last line
    bool clock_off = false;
  };
  std::map<StationId, Known> stations_;
  std::optional<Time> said_;
};

}  // namespace driftline
