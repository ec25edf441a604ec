#include "gateway/cycles/rest.h"

#include <algorithm>
#include <vector>

#include "gateway/cycles/limits.h"

namespace driftline::cycles {
namespace {

// A rise smaller than this is noise. Gauges of such stations are quantised to 0.1 to 0.5 bar.
constexpr double noise_bar = 2.0;
// The same for the mean of a few samples against the median of many.
constexpr double mean_noise_bar = 1.2;
constexpr std::size_t mean_of = 6;
constexpr double slower = 2.5;  // spacings that differ by this are of two rates
constexpr double much_slower = 6.0;  // not by a few lost samples
constexpr std::int64_t dense_ms = 500;
constexpr double looked_back_s = 90.0;
constexpr double soft_start_most_s = 30.0;  // a sample at rest a minute before is high by noise, not by the pump

double median(std::vector<double>& values) {
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

// Of one line: the mean of `sample` and the samples before it has left the median of those before them. Tells a rise too
// slow to show between neighbours, which only fast sampling meets.
bool crept_up(const Trace& trace, int line, double bar) {
  const std::size_t n = trace.points.size();
  if (n < 2 * rest_samples_kept) return false;
  double mean = bar;
  for (std::size_t i = n - (mean_of - 1); i < n; ++i) mean += trace.bar_of(i, line).value_or(-1e9);
  mean /= static_cast<double>(mean_of);
  std::size_t given = 0;
  std::size_t lower = 0;  // more than half of them: the median is
  for (std::size_t i = 0; i + rest_samples_kept < n; ++i) {
    const auto was = trace.bar_of(i, line);
    given += was ? 1U : 0U;
    lower += was && *was < mean - mean_noise_bar ? 1U : 0U;
  }
  return given >= rest_samples_kept / 2 && 2 * lower > given;
}

}  // namespace

void Rest::follow_rate(const Sample& sample, bool missing) {
  if (missing) return;
  const Time last = trace_.time_of(trace_.points.size() - 1);
  const std::int64_t gap = (sample.time - last).count();
  const auto times = [](std::int64_t longer, double factor, std::int64_t shorter) { return static_cast<double>(longer) >= factor * static_cast<double>(shorter); };
  // A sample added at the pump's edge comes off the beat: the spacing behind it says little of the rate.
  if (gap_ms_ > 0 && times(gap, slower, std::max(gap_ms_, gap_before_ms_))) fast_since_.reset();
  const bool fast = gap > 0 && gap <= static_cast<std::int64_t>(1000 * fast_interval_max_s);
  if (fast && times(gap_ms_, fast_since_ ? much_slower : slower, gap)) fast_since_ = last;
  gap_before_ms_ = gap_ms_;
  gap_ms_ = gap;
}

void Rest::follow_line(const Sample& sample) {
  const int was = trace_.points.back().line;
  if (sample.line && was != 0 && *sample.line != was) line_since_ = sample.time;
}

void Rest::add(const Sample& sample, bool missing) {
  if (!empty()) {
    follow_rate(sample, missing);
    follow_line(sample);
  }
  trace_.add(sample);
  const std::size_t n = trace_.points.size();
  const bool long_ago = n >= 2 * rest_samples_kept && seconds_between(trace_.base, sample.time) > 1.5 * looked_back_s;
  if (n >= rest_points_max || (long_ago && !beside_mark(0))) keep_bounds();
}

bool Rest::beside_mark(std::size_t i) const {
  const auto is_mark = [&](std::size_t k) { return k < trace_.points.size() && (trace_.time_of(k) == fast_since_ || trace_.time_of(k) == line_since_); };
  return is_mark(i) || is_mark(i + 1);
}

// The last samples stay as they are; of the older ones those far enough apart and not older than what is looked at, and
// the two beside a mark: a start is read from between them.
void Rest::keep_bounds() {
  const auto& points = trace_.points;
  const std::size_t whole = points.size() - rest_samples_kept;
  std::vector<TracePoint> older;
  std::size_t of_marks = 0;  // they stand first, or among the others
  for (std::size_t i = 0; i < whole; ++i) {
    const bool old = seconds_between(trace_.time_of(i), trace_.time_of(points.size() - 1)) > looked_back_s;
    const bool close = !older.empty() && points[i].at_ms - older.back().at_ms < static_cast<std::int32_t>(1000 * rest_apart_s);
    if (!beside_mark(i) && (old || close)) continue;
    older.push_back(points[i]);
    if (beside_mark(i) && older.size() == of_marks + 1) ++of_marks;
  }
  if (older.size() + rest_samples_kept + rest_samples_kept / 2 > rest_points_max) {
    const auto from = older.begin() + static_cast<std::ptrdiff_t>(of_marks);
    older.erase(from, from + std::min<std::ptrdiff_t>(rest_samples_kept / 2, older.end() - from));
  }
  older.insert(older.end(), points.begin() + static_cast<std::ptrdiff_t>(whole), points.end());
  trace_.points = std::move(older);
  trace_.move_base();
}

void Rest::clear() { *this = Rest{}; }

void Rest::take_over(Trace vent) {
  clear();
  trace_ = std::move(vent);
  if (trace_.points.size() >= 2) gap_ms_ = trace_.points.back().at_ms - trace_.points[trace_.points.size() - 2].at_ms;
  if (trace_.points.size() > rest_samples_kept) trace_.drop_before(trace_.points.size() - rest_samples_kept);
  trace_.points.shrink_to_fit();
}

void Rest::shift(std::chrono::milliseconds by) {
  trace_.base += by;
  if (fast_since_) *fast_since_ += by;
  if (line_since_) *line_since_ += by;
}

bool Rest::left_by(const Sample& sample) const {
  const std::size_t n = trace_.points.size();
  // Of tens of thousands of samples at rest one is far off by noise alone. Where they are dense the next ones tell as well.
  const double jump = gap_ms_ > 0 && gap_ms_ < dense_ms ? 2.0 * noise_bar : noise_bar;
  for (int line = 1; n > 0 && line <= sample.pressure.lines; ++line) {
    const auto bar = sample.pressure.of_line(line);
    if (!bar) continue;
    double lowest = 1e9;
    for (std::size_t i = n - std::min<std::size_t>(n, 8); i < n; ++i) lowest = std::min(lowest, trace_.bar_of(i, line).value_or(1e9));
    if (lowest < 1e8 && *bar > lowest + jump) return true;
    if (crept_up(trace_, line, *bar)) return true;
  }
  return false;
}

std::size_t Rest::at_or_after(Time time) const {
  std::size_t i = 0;
  while (i < trace_.points.size() && trace_.time_of(i) < time) ++i;
  return i;
}

Rest::Onset Rest::onset(const Sample& sample) const {
  const std::size_t n = trace_.points.size();
  if (n == 0) return {};
  const std::int64_t gap = (sample.time - trace_.time_of(n - 1)).count();
  const auto lately = [&](const std::optional<Time>& time) { return time && seconds_between(*time, sample.time) <= looked_back_s; };
  // The sender went over to its fast rate, as it does when the pump starts: before this sample, or with the last at rest.
  Rest with = *this;
  with.follow_rate(sample, false);
  const auto from = [&](const Time& since) {
    const std::size_t first = at_or_after(since);
    const std::int64_t beat = std::max(gap, std::min(gap_ms_, gap_before_ms_));
    const bool thinned = first + 1 < n && static_cast<double>(beat) < 1000 * rest_apart_s;
    return Onset{first, true, thinned ? beat : 0};
  };
  if (lately(with.fast_since_) && *with.fast_since_ > trace_.time_of(0)) return from(*with.fast_since_);
  // The changeover valve went over.
  with.follow_line(sample);
  if (lately(with.line_since_) && *with.line_since_ > trace_.time_of(0)) return from(*with.line_since_);
  // Neither: from where the pressure left its resting level.
  int line = 1;
  double most = -1e9;
  for (int l = 1; l <= sample.pressure.lines; ++l) {
    double lowest = 1e9;
    for (std::size_t i = 0; i < n; ++i) lowest = std::min(lowest, trace_.bar_of(i, l).value_or(1e9));
    const double rise = sample.pressure.of_line(l).value_or(-1e9) - lowest;
    if (rise > most) {
      most = rise;
      line = l;
    }
  }
  double level = sample.pressure.of_line(line).value_or(0.0) - most + 1.0;
  if (n >= 2 * rest_samples_kept) {  // the lowest of many lies far below the level they scatter about
    std::vector<double> bars;
    for (std::size_t i = 0; i < n; ++i) bars.push_back(trace_.bar_of(i, line).value_or(level));
    level = median(bars) + 0.7;
  }
  std::size_t first = n;
  const auto soft = [&](std::size_t i) { return seconds_between(trace_.time_of(i), sample.time) <= soft_start_most_s; };
  while (first > 1 && soft(first - 1) && trace_.bar_of(first - 1, line).value_or(-1e9) > level) --first;
  return {first, false, 0};
}

}  // namespace driftline::cycles
