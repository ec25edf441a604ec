#include "gateway/metrics/writer.h"

#include <algorithm>

#include "gateway/events/events.h"
#include "gateway/metrics/events.h"
#include "gateway/metrics/verdict.h"

namespace driftline::metrics {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;

constexpr const char* cursor_name = "metrics";
constexpr milliseconds pulse_most{5'000};  // a server may ask for minutes; who watches the thread allows it less

std::string text_of(const Answer& answer) {
  if (answer.status == 0) return answer.text;
  return std::to_string(answer.status) + " " + answer.text;
}

}  // namespace

history::CursorUse cursor_use() {
  using history::Feed;
  return {cursor_name,
          {Feed::half_cycles, Feed::warnings, Feed::reservoir_days, Feed::forecast_days, Feed::faults},
          true};
}

Writer::Writer(const MetricsSettings& settings, history::History& history, Clock clock)
    : Writer(settings, history, std::move(clock), nullptr) {
  poster_ = std::make_unique<Poster>(settings_);
  post_ = [this](std::string_view lines) { return poster_->post(lines); };
}

Writer::Writer(const MetricsSettings& settings, history::History& history, Clock clock, Post post)
    : settings_(settings),
      history_(history),
      clock_(std::move(clock)),
      post_(std::move(post)),
      lines_in_request_(std::clamp(settings.batch_lines, 1, batch_lines_max)),
      random_(std::random_device{}()) {}

Writer::~Writer() { stop(); }

void Writer::start() {
  thread_ = std::thread([this] { run(); });
}

void Writer::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
    if (poster_ != nullptr) poster_->abandon();
  }
  stop_.notify_all();
  if (thread_.joinable()) thread_.join();
}

WriterStatus Writer::status() const {
  const std::lock_guard guard(mutex_);
  return status_;
}

void Writer::run() {
  for (;;) {
    milliseconds wait = step();
    std::unique_lock guard(mutex_);
    do {
      ++pulse_;
      const milliseconds part = std::min(wait, pulse_most);
      if (stop_.wait_for(guard, part, [&] { return stopping_; })) return;
      wait -= part;
    } while (wait > milliseconds{0});
  }
}

milliseconds Writer::step() {
  if (!batch_) return load();
  if (!ranges_.empty()) return send();
  return finish();
}

milliseconds Writer::load() {
  if (reader_ == nullptr) {
    auto opened = history::Reader::open(history_.file());
    if (!opened) return trouble(opened.error());
    reader_ = std::move(*opened);
    const auto marks = reader_->cursor(cursor_name);
    if (!marks) return trouble(marks.error());
    if (marks->empty())
      return trouble({history::TroubleCause::programming, "the history was opened without the cursor of the metrics"});
    for (const history::CursorMark& mark : *marks) marks_[mark.feed] = mark.id;
  }
  auto batch = next_batch(*reader_, marks_, lines_in_request_);
  if (!batch) return trouble(batch.error());
  if (batch->empty()) return counters_due() ? send_counters() : milliseconds{settings_.poll_ms};
  batch_ = std::move(*batch);
  ranges_.clear();
  if (!batch_->lines.empty()) ranges_.push_back({0, batch_->lines.size()});
  aside_.clear();
  for (const Unfit& unfit : batch_->unfit) {
    events::row_refused_by_us(unfit.refusal, unfit.feed, unfit.row_id);
    aside_.push_back({cursor_name, unfit.feed, unfit.row_id, clock_(), 0, "", std::string(name_of(unfit.refusal))});
  }
  return milliseconds{0};
}

milliseconds Writer::send() {
  const Range range = ranges_.front();
  const Answer answer = post_(batch_->part(range.first, range.last));
  switch (verdict_of(answer.status)) {
    case Verdict::taken:
      ranges_.pop_front();
      refused_in_a_row_ = 0;
      holds_ = 0;
      failures_ = 0;
      lines_in_request_ = std::min(lines_in_request_ * 2, std::clamp(settings_.batch_lines, 1, batch_lines_max));
      events::lines_taken(range.last - range.first);
      enter(State::sending, "");
      {
        const std::lock_guard guard(mutex_);
        status_.lines_taken += range.last - range.first;
      }
      return milliseconds{0};
    case Verdict::bad_rows: return judge_bad_rows(answer);
    case Verdict::too_large:
      if (range.last - range.first == 1) return judge_bad_rows(answer);
      lines_in_request_ = std::max(1, static_cast<int>((range.last - range.first) / 2));
      halve_front();
      return milliseconds{0};
    case Verdict::wait:
      enter(State::down, text_of(answer));
      return back_off(answer.retry_after);
    case Verdict::denied:
      enter(State::denied, text_of(answer));
      {
        // The secret may have been put right meanwhile.
        const std::lock_guard guard(mutex_);
        if (poster_ != nullptr && !stopping_) poster_ = std::make_unique<Poster>(settings_);
      }
      return back_off(answer.retry_after);
  }
  return milliseconds{0};
}

milliseconds Writer::judge_bad_rows(const Answer& answer) {
  const Range range = ranges_.front();
  if (range.last - range.first > 1) {
    halve_front();
    return milliseconds{0};
  }
  if (++refused_in_a_row_ >= refused_in_a_row_max) return hold(answer);
  put_aside(batch_->lines[range.first], batch_->part(range.first, range.last), answer);
  ranges_.pop_front();
  return milliseconds{0};
}

// Row after row is refused and none taken: more likely the server's fault than that of so many rows. The batch is waited
// out and begun again; in the end the rows are put aside, so that the cursor does not stand for ever.
milliseconds Writer::hold(const Answer& answer) {
  enter(State::refusing, text_of(answer));
  if (++holds_ > holds_max) {
    holds_ = 0;
    put_rest_aside(answer);
    return milliseconds{0};
  }
  batch_.reset();  // read again: nothing of it was decided
  ranges_.clear();
  aside_.clear();
  return back_off(answer.retry_after);
}

void Writer::put_aside(const LineOrigin& origin, std::string_view line, const Answer& answer) {
  events::row_refused_by_server(origin.feed, origin.row_id, text_of(answer));
  aside_.push_back(
      {cursor_name, origin.feed, origin.row_id, clock_(), answer.status, std::string(line), answer.text});
}

void Writer::put_rest_aside(const Answer& answer) {
  for (const Range& range : ranges_)
    for (std::size_t at = range.first; at < range.last; ++at)
      put_aside(batch_->lines[at], batch_->part(at, at + 1), answer);
  ranges_.clear();
}

void Writer::halve_front() {
  const Range range = ranges_.front();
  const std::size_t middle = range.first + (range.last - range.first) / 2;
  ranges_.front() = {middle, range.last};
  ranges_.push_front({range.first, middle});
}

milliseconds Writer::finish() {
  if (const auto moved = history_.advance(cursor_name, batch_->reached, aside_); !moved) return trouble(moved.error());
  for (const history::CursorMark& mark : batch_->reached) marks_[mark.feed] = mark.id;
  {
    const std::lock_guard guard(mutex_);
    status_.rows_put_aside += aside_.size();
  }
  aside_.clear();
  batch_.reset();
  return milliseconds{0};
}

// Twice the wait of the time before, or what the server asked for; never all gateways at once.
milliseconds Writer::back_off(seconds asked_for) {
  const double chance = std::uniform_real_distribution<double>{0.5, 1.0}(random_);
  auto wait = wait_first;
  for (int i = 0; i < failures_ && wait < wait_most; ++i) wait *= 2;
  ++failures_;
  const auto own = milliseconds{static_cast<std::int64_t>(static_cast<double>(std::min(wait, wait_most).count()) * chance)};
  const auto asked = std::chrono::duration_cast<milliseconds>(std::min(asked_for, retry_after_most));
  if (asked <= own) return own;
  return asked + milliseconds{static_cast<std::int64_t>((chance - 0.5) * 1'000)};
}

void Writer::enter(State state, const std::string& why) {
  Time since{};
  State before{};
  {
    const std::lock_guard guard(mutex_);
    before = status_.state;
    status_.why = why;
    if (before == state) return;
    since = status_.since;
    status_.state = state;
    status_.since = clock_();
  }
  switch (state) {
    case State::idle: return;
    case State::sending:
      if (before != State::idle)
        events::back(settings_.url, std::chrono::duration_cast<seconds>(clock_() - since), rows_waiting());
      return;
    case State::down: return events::down(settings_.url, why);
    case State::denied: return events::denied(settings_.url, why);
    case State::refusing: return events::refuses_all(settings_.url, why);
  }
}

milliseconds Writer::trouble(const history::Trouble& what) {
  events::history_trouble(what);
  reader_.reset();
  return wait_first;
}

std::int64_t Writer::rows_waiting() {
  if (reader_ == nullptr) return 0;
  const auto last = reader_->last_ids();
  if (!last) return 0;
  std::int64_t rows = 0;
  for (const history::CursorMark& mark : *last)
    if (const auto here = marks_.find(mark.feed); here != marks_.end()) rows += mark.id - here->second;
  return rows;
}

bool Writer::counters_due() {
  if (settings_.counters_s <= 0) return false;
  const Time now = clock_();
  return !counters_sent_ || now < *counters_sent_ || now - *counters_sent_ >= seconds{settings_.counters_s};
}

// Counters are of the moment: they do not wait for a server that is away.
milliseconds Writer::send_counters() {
  const Time now = clock_();
  counters_sent_ = now;
  std::map<std::string, std::uint64_t> totals;
  for (const driftline::events::Count& count : driftline::events::counts()) totals[count.event] += count.total;
  std::string text;
  for (const auto& [event, total] : totals)
    if (const auto refusal = append_line(text, GatewayCount{now, settings_.gateway, event, total}))
      events::counter_unfit(*refusal, event);
  if (!text.empty()) {
    const Answer answer = post_(text);
    if (verdict_of(answer.status) == Verdict::wait) enter(State::down, text_of(answer));
    if (verdict_of(answer.status) == Verdict::taken) enter(State::sending, "");
  }
  return milliseconds{settings_.poll_ms};
}

}  // namespace driftline::metrics
