#include "gateway/cycles/reorder_window.h"

#include <algorithm>
#include <bit>
#include <tuple>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

// Of two with one time and seq the one that says more comes first: the second is passed over.
auto key_of(const Sample& s) {
  return std::tuple(s.time, s.seq, -std::popcount(s.pressure.given), s.pressure.given, s.pressure.lines, s.pressure.bar, s.pump,
                    s.line, s.level_pct, s.level_low, s.temp_c);
}

}  // namespace

bool stands_before(const Sample& a, const Sample& b) {
  if (a.time != b.time) return a.time < b.time;
  return key_of(a) < key_of(b);
}

Insertion ReorderWindow::insert(const HeldSample& held) {
  const Sample& sample = held.sample;
  if (released_to_ && sample.time <= *released_to_) {
    const bool known = sample.time == *released_to_ &&
                       std::find(last_released_.begin(), last_released_.end(), sample) != last_released_.end();
    return known ? Insertion::doubled : Insertion::behind;
  }
  drop_released();
  const auto from = held_.begin() + static_cast<std::ptrdiff_t>(taken_);
  auto at = held_.end();
  while (at != from && !stands_before(std::prev(at)->sample, sample)) --at;  // nearly always the newest
  if (at != held_.end() && at->sample == sample) return Insertion::doubled;
  held_.insert(at, held);
  if (!newest_ || sample.time > *newest_) newest_ = sample.time;
  if (!first_received_ || held.received < *first_received_) first_received_ = held.received;
  return Insertion::held;
}

std::span<const HeldSample> ReorderWindow::release(Time now, double wait_s) {
  std::size_t due = taken_;
  while (due < held_.size() && seconds_between(held_[due].sample.time, *newest_) >= lateness_s) ++due;
  if (first_received_ && seconds_between(*first_received_, now) >= wait_s) {
    for (std::size_t i = due; i < held_.size(); ++i) {
      if (seconds_between(held_[i].received, now) >= wait_s) due = i + 1;
    }
  }
  due = std::max(due, held_.size() - std::min(held_.size(), window_samples_max));
  return release_to(due);
}

std::span<const HeldSample> ReorderWindow::release_all() { return release_to(held_.size()); }

void ReorderWindow::forget() {
  newest_.reset();
  released_to_.reset();
  last_released_.clear();
}

std::span<const HeldSample> ReorderWindow::release_to(std::size_t due) {
  if (due <= taken_) return {};
  const Time to = held_[due - 1].sample.time;
  while (due < held_.size() && held_[due].sample.time == to) ++due;
  if (released_to_ != to) last_released_.clear();
  released_to_ = to;
  bool oldest_left = false;
  for (std::size_t i = taken_; i < due; ++i) {
    if (held_[i].sample.time == to) last_released_.push_back(held_[i].sample);
    oldest_left = oldest_left || held_[i].received == *first_received_;
  }
  const std::span<const HeldSample> out(held_.data() + taken_, due - taken_);
  taken_ = due;
  if (oldest_left) {
    first_received_.reset();
    for (std::size_t i = taken_; i < held_.size(); ++i) {
      if (!first_received_ || held_[i].received < *first_received_) first_received_ = held_[i].received;
    }
  }
  return out;
}

// Moving the rest forward when it is less than what was taken costs a sample one move at most.
void ReorderWindow::drop_released() {
  if (taken_ == 0 || 2 * taken_ < held_.size()) return;
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(taken_));
  taken_ = 0;
  if (held_.capacity() > 64 && held_.size() < held_.capacity() / 8) held_.shrink_to_fit();  // a burst is over
}

std::optional<Time> ReorderWindow::wake_at(double wait_s) const {
  if (!first_received_) return std::nullopt;
  return later_by_s(*first_received_, wait_s);
}

bool ReorderWindow::operator==(const ReorderWindow& other) const {
  return std::equal(held_.begin() + static_cast<std::ptrdiff_t>(taken_), held_.end(),
                    other.held_.begin() + static_cast<std::ptrdiff_t>(other.taken_), other.held_.end()) &&
         newest_ == other.newest_ && released_to_ == other.released_to_ && last_released_ == other.last_released_ &&
         first_received_ == other.first_received_;
}

}  // namespace driftline::cycles
