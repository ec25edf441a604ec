// Level and use of a reservoir from a sensor that is noisy, coarse and sticks, with turns counted as the clock of use.
//
// State of one hypothesis: level l [%] and use u (times the nominal use n of a turn), a Kalman filter
//   turn:     l -= u*n,  covariance by F = [1 -n; 0 1], plus (u*spread)^2 of the turn
//   reading:  y = l                    where the follower has just moved (or does not stick)
//             y = l + u*N              where it has stuck since N nominal units ago: it still shows the level of then
// A follower that sticks by s moves when the level has left its reading by s; so a reading tells the level only after a
// move, and on the way up (a refill) it stays up to s below it. How much a follower sticks is not known: five hypotheses
// (limits.h) run side by side, weighted by how well each foretold the readings (their likelihood, slowly forgotten).
//
// And whether the use changes is not known: each hypothesis runs twice, with a use that hardly wanders (calm) and with one
// that may change by some per cent a day (agile). The calm one is believed; the sum of the log likelihood ratio agile to
// calm, never below 0, is a CUSUM test (Page 1954) for a change of use, and when it passes `change_sure` the calm filter
// takes over what the agile one has found, with its uncertainty.
//
// Source: Kalman (1960) and the play operator of hysteresis, both from memory; checked by simulation in
// tests/unit/reservoir/level_filter_test.cpp. One step costs well under a microsecond. Pure; any thread.
#pragma once

#include <array>
#include <cstdint>

#include "rules/reservoir/limits.h"

namespace driftline::rules::reservoir {

struct Follower {
  double level = 0;
  double use = 1;
  float level_var = 1e4F;
  float cross = 0;        // covariance of level and use
  float use_var = 1;
  float held = 0;         // what the follower shows, averaged since it moved
  float since = 0;        // nominal use since it moved
  std::int16_t blocks = 0;  // since it moved
  bool anchored = false;  // it moved by itself since the last refill
  float score = 0;        // log likelihood, forgotten slowly
  bool operator==(const Follower&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(level, use, level_var, cross, use_var, held, since, blocks, anchored, score);
  }
};

struct Estimate {
  double level = 0;
  double use = 1;
  double level_sd = 0;
  double use_sd = 0;
  double cross = 0;
};

struct LevelFilter {
  std::array<Follower, follower_count> calm{};
  std::array<Follower, follower_count> agile{};
  std::array<float, follower_count> lead{};  // of the agile one, log likelihood, never below 0
  bool operator==(const LevelFilter&) const = default;
  template <class Archive>
  void serialize(Archive& archive) {
    archive(calm, agile, lead);
  }

  void start_use(double use, double use_sd);
  // A reading after a refill or the first one: the follower came from below (or from anywhere) and may lag.
  void start_level(double reading, double noise_sd);
  // The level itself is said to be this.
  void set_level(double level, double sd);
  void turn(double nominal, double nominal_sd);
  void wander(double days);       // time has passed: the use may have changed
  void loosen_use(double sd);
  void loosen_level(double sd);
  void read(double reading, double noise_sd);

  [[nodiscard]] std::array<double, follower_count> weights() const;
  [[nodiscard]] Estimate estimate() const;
  [[nodiscard]] Estimate lately() const;  // by the agile filters: noisier, and quick to see a change of use
  [[nodiscard]] double expected_reading() const;
  [[nodiscard]] double likely_stick() const;
};

}  // namespace driftline::rules::reservoir
