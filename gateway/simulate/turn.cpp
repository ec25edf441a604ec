#include "gateway/simulate/turn.h"

#include <algorithm>
#include <cmath>

namespace driftline::simulate {
namespace {

constexpr double air_bar = 1.01325;
constexpr double relief_span_bar = 6;   // from opening to passing everything
constexpr double stall_share = 0.002;   // of the delivery: nothing moves any more
constexpr double step_bar = 1.5;

struct Opening {
  double bar;  // at the line's start
  double charge_cm3;
};

class Turn {
 public:
  Turn(const TurnInput& in, std::vector<TurnPoint>& curve) : in_(in), curve_(curve), bar_(std::max(0.0, in.start_bar)) {
    curve_.clear();
    for (const Device& device : *in.devices) {
      if (device.stuck_from <= in.stuck_share) {
        ++result_.not_moved;
        continue;
      }
      openings_.push_back({device.opening_bar + device.at * in.drop_bar, device.charge_cm3});
    }
    std::ranges::sort(openings_, {}, &Opening::bar);
  }

  TurnResult run() {
    note();
    while (!done_) step();
    result_.stop_s = s_;
    result_.peak_bar = 0;
    for (const TurnPoint& point : curve_) result_.peak_bar = std::max(result_.peak_bar, point.bar);
    result_.not_moved += static_cast<int>(openings_.size() - next_);
    return result_;
  }

 private:
  [[nodiscard]] double leak() const {
    return in_.leak_cm3_s > 0 ? in_.leak_cm3_s * std::pow(bar_ / in_.target_bar, in_.leak_power) : 0;
  }
  [[nodiscard]] double net() const {
    const double soft = s_ < in_.soft_start_s ? std::max(0.15, s_ / in_.soft_start_s) : 1;
    double flow = in_.delivery_cm3_s * soft - leak() - in_.bypass_cm3_s * bar_ / in_.target_bar;
    const double over = bar_ + in_.restriction_bar - in_.relief_bar;
    if (over > 0) flow -= in_.delivery_cm3_s * over / relief_span_bar;
    return flow;
  }
  // Grease does not move beyond where the pressure has got to, so a line feels short at first: of its mean pressure only
  // this share follows the pump's.
  [[nodiscard]] double give_cm3_bar() const {
    const double drop = std::max(0.1, in_.drop_bar);
    const double engaged = std::clamp(bar_ / drop, 0.08, 1.0);
    const double mean = bar_ < drop ? bar_ * bar_ / (2 * drop) : bar_ - drop / 2;
    return engaged * (in_.compliance_cm3_bar + in_.air_cm3 * air_bar / ((air_bar + mean) * (air_bar + mean)));
  }
  [[nodiscard]] double sensor() const {
    const double soft = std::min(1.0, s_ / std::max(0.2, in_.soft_start_s));
    const double local = bar_ + in_.restriction_bar * soft - in_.sensor_at * in_.drop_bar;
    return std::max(local, std::min(in_.start_bar, bar_));
  }
  void note() { curve_.push_back({s_, sensor()}); }

  void step() {
    const double flow = net();
    if (flow <= stall_share * in_.delivery_cm3_s) return stall(flow);
    const double give = give_cm3_bar();
    double step_s = std::clamp(step_bar * give / flow, 0.02, 1.0);
    if (s_ < in_.soft_start_s) step_s = std::min(step_s, 0.25);
    const bool opens = next_ < openings_.size() && bar_ + flow * step_s / give >= openings_[next_].bar;
    if (opens) step_s = std::max(0.0, (openings_[next_].bar - bar_) * give / flow);
    advance(step_s, bar_ + flow * step_s / give);
    if (!done_ && opens) move_device();
  }

  void move_device() {
    const double flow = net();
    if (flow <= stall_share * in_.delivery_cm3_s) return stall(flow);
    const double all_s = openings_[next_].charge_cm3 / flow;
    const double step_s = std::min(all_s, in_.pump_limit_s - s_);
    result_.dispensed_cm3 += openings_[next_].charge_cm3 * step_s / all_s;
    if (step_s >= all_s) {
      ++next_;
      ++result_.moved;
    }
    advance(step_s, bar_);
  }

  // The pump runs on against what lets everything by.
  void stall(double flow) {
    if (s_ < in_.soft_start_s) return advance(0.25, std::max(0.0, bar_ + flow * 0.25 / give_cm3_bar()));
    advance(in_.pump_limit_s - s_, bar_);
  }

  void advance(double step_s, double to_bar) {
    const double before = sensor() + in_.sensor_offset_bar;
    step_s = std::max(0.0, std::min(step_s, in_.pump_limit_s - s_));
    result_.leaked_cm3 += leak() * step_s;
    const double from_s = s_;
    s_ += step_s;
    bar_ = to_bar;
    const double after = sensor() + in_.sensor_offset_bar;
    note();
    if (after >= in_.target_bar) return stop_at_target(from_s, before, after);
    if (s_ >= in_.pump_limit_s - 1e-9) done_ = true;
  }

  void stop_at_target(double from_s, double before, double after) {
    const double part = after > before ? std::clamp((in_.target_bar - before) / (after - before), 0.0, 1.0) : 0;
    const double slope = s_ > from_s ? (after - before) / (s_ - from_s) : 0;
    s_ = from_s + part * (s_ - from_s);
    result_.reached = true;
    result_.to_pressure_s = s_;
    const double at_target = in_.target_bar - in_.sensor_offset_bar;
    curve_.back() = {s_, std::min(at_target, curve_.back().bar)};
    s_ += in_.reaction_s;
    curve_.push_back({s_, std::max(at_target, curve_.back().bar) + slope * in_.reaction_s});
    done_ = true;
  }

  const TurnInput& in_;
  std::vector<TurnPoint>& curve_;
  std::vector<Opening> openings_;
  std::size_t next_ = 0;
  double s_ = 0;
  double bar_ = 0;  // at the line's start, behind a restriction
  bool done_ = false;
  TurnResult result_;
};

}  // namespace

TurnResult run_turn(const TurnInput& in, std::vector<TurnPoint>& curve) { return Turn(in, curve).run(); }

}  // namespace driftline::simulate
