// One station's life: turns on schedule, wear, weather, people, power; everything it sends and the truth
// about it.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <vector>

#include "gateway/simulate/machine.h"
#include "gateway/simulate/sender.h"
#include "gateway/simulate/truth.h"
#include "gateway/simulate/weather.h"

namespace driftline::simulate {

// When people are about: 7 to 16 h.
[[nodiscard]] bool in_working_hours(Time from, double at_s);

class Station {
 public:
  Station(const PlantPlan& plant, const SitePlan& site, const StationPlan& plan, const Weather& air);
  Station(const Station&) = delete;
  Station& operator=(const Station&) = delete;

  // Lives until then and hands out what has arrived until then.
  void run_until(double until_s, std::vector<Message>& out);
  // After the last run_until.
  [[nodiscard]] StationTruth take_truth();

 private:
  struct Trouble {
    FaultTruth truth;
    double full_severity = 1;  // at progress 1
    bool over = false;
    bool reserve_spent = false;  // a cold spell that counts (truth.h)
  };
  struct Refill {
    double from_s = 0;
    double to_s = 0;
    double pct_s = 0;
  };
  using Lines = std::array<Venting, static_cast<std::size_t>(lines_max)>;

  void take_faults(const SitePlan& site);
  [[nodiscard]] Wear wear_at(double at_s) const;
  [[nodiscard]] Settings settings_at(double at_s) const;

  void rest_until(double until_s);
  void follow_people(double at_s);
  void begin_refill(double at_s);
  void repair(Trouble& trouble, double at_s);
  void power_cut();
  void outside_pressure(double turn_s);
  void turn(double start_s, bool manual);
  void settle(double start_s, double stop_s, std::size_t line, const TurnResult& result, const Wear& wear,
              TurnTruth& row);
  // Of one turn, for the truth about it.
  struct Seen {
    const TurnTruth& row;
    const TurnInput& input;
    const TurnResult& result;
    const Wear& wear;
    double at_s;
    double grease_c;
    bool failed;  // target not reached
    bool held;    // over the residual limit at its start
  };
  void note_troubles(const Seen& seen);
  void note_harm(Trouble& trouble, const Seen& seen);
  [[nodiscard]] bool shows(const Trouble& trouble, const Seen& seen);
  // By the cold alone, all wear taken away: share of the pump limit that the turn takes, or of the residual
  // limit that is held, whichever is more; above 1 the turn fails.
  [[nodiscard]] double reserve_taken_by_cold(const Seen& seen);
  [[nodiscard]] std::optional<std::int64_t> failure_if_left(const Trouble& trouble);
  void advance_level(double to_s);
  Delivery emit(double at_s);
  void explain();
  void explain_near_limits();
  void tell_lives();

  const PlantPlan& plant_;
  StationPlan plan_;
  Machine machine_;
  Sender sender_;
  Weather grease_;
  Weather cabinet_;  // what the temperature sensor feels
  double usual_c_ = 12;
  double usual_trend_c_day_ = 0;
  Rng rng_;
  std::vector<Trouble> troubles_;
  StationTruth truth_;

  double now_s_ = 0;
  double next_turn_s_ = 0;
  std::optional<double> manual_s_;
  double next_sample_s_ = 0;
  double fast_until_s_ = -1;
  std::size_t line_ = 0;
  std::size_t next_cut_ = 0;
  std::size_t next_step_ = 0;
  Lines venting_{};
  std::array<double, static_cast<std::size_t>(lines_max)> air_cm3_{};
  double level_pct_ = 80;
  double level_s_ = 0;
  double level_shown_when_stuck_ = -1;
  std::optional<Refill> refill_;
  double used_today_pct_ = 0;
  double lowest_today_pct_ = 100;
  double day_end_s_ = 86400;
  std::map<std::int64_t, double> hardest_;  // by day: largest share of the pump limit that a turn took

  // The turn under way, for emit().
  bool pumping_ = false;
  double turn_start_s_ = 0;
  std::vector<TurnPoint> curve_;
  std::vector<TurnPoint> other_curve_;
  std::size_t cursor_ = 0;
  double rise_share_ = 0;  // of the active line's pressure, in the resting ones
  Wear shown_;             // for the sensors' drift
};

}  // namespace driftline::simulate
