#include "gateway/cycles/clock_watch.h"

#include <algorithm>
#include <cmath>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

double lag_of(const HeldSample& held) { return static_cast<double>((held.received - held.sample.time).count()); }

}  // namespace

double ClockWatch::lag_now(Time received) const {
  // A clock that runs slow lets the lag grow: the least lag creeps up with it.
  return *lag_ms_ + clock_drift_max * static_cast<double>((received - lag_at_).count());
}

std::optional<Time> ClockWatch::station_time(Time received) const {
  if (!lag_ms_) return std::nullopt;
  return received - std::chrono::milliseconds{std::llround(lag_now(received))};
}

bool ClockWatch::waiting_keep_pace() const {
  if (waiting_.size() < 2) return false;
  const HeldSample& a = waiting_.front();
  const HeldSample& b = waiting_.back();
  const double event_s = seconds_between(a.sample.time, b.sample.time);
  const double received_s = seconds_between(a.received, b.received);
  return event_s >= step_sure_s && std::abs(received_s - event_s) <= 2.0 + 0.1 * event_s;
}

ClockVerdict ClockWatch::wait(const HeldSample& held, double lag_ms) {
  if (!waiting_.empty() && (std::abs(lag_of(waiting_.back()) - lag_ms) > step_noise_ms || held.sample.time < waiting_.back().sample.time)) {
    give_up();  // they do not belong together: nonsense, each of them
  }
  if (!waiting_.empty() && waiting_.back().sample == held.sample) {
    ++counts_.doubled;
    return ClockVerdict::waiting;
  }
  if (waiting_.size() < clock_waiting_max) {
    waiting_.push_back(held);
  } else {
    ++counts_.behind;
  }
  if (!waiting_keep_pace()) return ClockVerdict::waiting;
  step_ms_ = std::llround(lag_now(held.received) - lag_ms);
  return ClockVerdict::stepped;
}

void ClockWatch::give_up() {
  counts_.behind += waiting_.size();
  waiting_.clear();
}

SampleCounts ClockWatch::counts() const {
  SampleCounts out = counts_;
  out.held = waiting_.size();
  return out;
}

std::vector<HeldSample> ClockWatch::take_waiting() {
  std::vector<HeldSample> out;
  out.swap(waiting_);
  lag_ms_.reset();
  newest_seq_.reset();
  newest_time_.reset();
  for (const HeldSample& held : out) accept(held, lag_of(held));
  return out;
}

void ClockWatch::accept(const HeldSample& held, double lag_ms) {
  if (!lag_ms_ || lag_ms < lag_now(held.received)) {
    if (!lag_ms_ || lag_now(held.received) - lag_ms > step_noise_ms) {
      dropped_at_ = held.received;
      since_drop_ = 0;
    }
    lag_ms_ = lag_ms;
  } else {
    lag_ms_ = lag_now(held.received);
  }
  lag_at_ = held.received;
  if (since_drop_ < lag_settled_samples) ++since_drop_;
  const double over_ms = lag_ms - *lag_ms_;
  if (over_ms <= 1000.0 * late_arrival_s) spread_ms_ = std::max(over_ms, 0.995 * spread_ms_);
  if (newest_time_ && held.sample.time <= *newest_time_) return;
  newest_time_ = held.sample.time;
  if (held.sample.seq) newest_seq_ = held.sample.seq;
}

ClockVerdict ClockWatch::judge(HeldSample& held, std::optional<Time> released_to, bool in_hole) {
  const double lag_ms = lag_of(held);
  if (!lag_ms_) {
    accept(held, lag_ms);
    return ClockVerdict::live;
  }
  const double over_ms = lag_ms - lag_now(held.received);
  const bool settled = seconds_between(dropped_at_, held.received) >= lag_settled_s && since_drop_ >= lag_settled_samples;
  const double noise_ms = step_noise_ms + spread_ms_;
  // Before the lag is settled a backlog may be draining; but nothing that drains is of the future.
  if (over_ms < -step_small_ms && (settled || lag_ms < -1000.0 * lateness_s)) return wait(held, lag_ms);
  if (over_ms < -noise_ms && settled) {
    held.step_ms = std::llround(-over_ms);
    give_up();
    accept(held, lag_ms);
    return ClockVerdict::live;
  }
  const Sample& sample = held.sample;
  const bool later_by_seq = sample.seq && newest_seq_ && *sample.seq > *newest_seq_ && *sample.seq - *newest_seq_ < 20;
  const bool set_back = later_by_seq && sample.time + std::chrono::milliseconds{20} < *newest_time_;
  const bool behind = released_to && sample.time <= *released_to;
  if (set_back && over_ms <= step_small_ms && over_ms > 0 && !in_hole) {
    give_up();
    waiting_.assign(1, held);
    step_ms_ = -std::llround(over_ms);
    return ClockVerdict::stepped;
  }
  if (behind || (set_back && !in_hole)) {
    if (in_hole) return ClockVerdict::behind;
    if (over_ms <= noise_ms) return ClockVerdict::behind;
    if (!set_back && over_ms <= 1000.0 * lateness_s) return ClockVerdict::behind;
    return wait(held, lag_ms);
  }
  give_up();
  held.late = over_ms > 1000.0 * late_arrival_s;
  accept(held, lag_ms);
  return ClockVerdict::live;
}

}  // namespace driftline::cycles
