#include "gateway/cycles/reorder_window.h"

#include <algorithm>
#include <tuple>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

auto key_of(const Sample& s) {
  return std::tie(s.time, s.seq, s.pump, s.line, s.pressure.lines, s.pressure.given, s.pressure.bar, s.level_pct, s.level_low,
                  s.temp_c);
}

}  // namespace

bool stands_before(const Sample& a, const Sample& b) {
  if (a.time != b.time) return a.time < b.time;
  return key_of(a) < key_of(b);
}

Insertion ReorderWindow::insert(const Sample& sample, Time received) {
  if (released_to_ && sample.time <= *released_to_) {
    const bool known = sample.time == *released_to_ &&
                       std::find(last_released_.begin(), last_released_.end(), sample) != last_released_.end();
    return known ? Insertion::doubled : Insertion::behind;
  }
  const auto at = std::lower_bound(held_.begin(), held_.end(), sample,
                                   [](const HeldSample& a, const Sample& b) { return stands_before(a.sample, b); });
  if (at != held_.end() && at->sample == sample) return Insertion::doubled;
  held_.insert(at, HeldSample{sample, received});
  if (!newest_ || sample.time > *newest_) newest_ = sample.time;
  return Insertion::held;
}

void ReorderWindow::release(Time now, std::vector<HeldSample>& out) {
  std::size_t due = 0;
  for (std::size_t i = 0; i < held_.size(); ++i) {
    const bool passed = newest_ && seconds_between(held_[i].sample.time, *newest_) >= lateness_s;
    const bool waited = seconds_between(held_[i].received, now) >= lateness_s;
    if (passed || waited) due = i + 1;
  }
  if (held_.size() - due > window_samples_max) due = held_.size() - window_samples_max;
  release_first(due, out);
}

void ReorderWindow::release_all(std::vector<HeldSample>& out) { release_first(held_.size(), out); }

void ReorderWindow::release_first(std::size_t count, std::vector<HeldSample>& out) {
  if (count == 0) return;
  const Time to = held_[count - 1].sample.time;
  while (count < held_.size() && held_[count].sample.time == to) ++count;
  if (released_to_ != to) last_released_.clear();
  released_to_ = to;
  for (std::size_t i = 0; i < count; ++i) {
    if (held_[i].sample.time == to) last_released_.push_back(held_[i].sample);
    out.push_back(held_[i]);
  }
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(count));
}

std::optional<Time> ReorderWindow::wake_at() const {
  std::optional<Time> first;
  for (const HeldSample& held : held_) {
    if (!first || held.received < *first) first = held.received;
  }
  if (!first) return std::nullopt;
  return later_by_s(*first, lateness_s);
}

}  // namespace driftline::cycles
