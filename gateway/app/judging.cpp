#include "gateway/app/judging.h"

#include <exception>
#include <span>
#include <utility>
#include <vector>

#include "gateway/app/accounts.h"
#include "gateway/app/clock.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/run_events.h"
#include "gateway/app/run_limits.h"
#include "gateway/journal/reader.h"

namespace driftline {
namespace {

using std::chrono::nanoseconds;

// Due at most once every `every`.
class Pace {
 public:
  explicit Pace(nanoseconds every) : every_(every) {}
  bool due(nanoseconds now) {
    if (last_ && now - *last_ < every_) return false;
    last_ = now;
    return true;
  }

 private:
  nanoseconds every_;
  std::optional<nanoseconds> last_;
};

}  // namespace

struct Judging::Loop {
  explicit Loop(Judging& whole) : judging(whole), reader(*whole.parts_.journal, whole.from_), first_own(whole.first_own_) {}

  Judging& judging;
  journal::Reader reader;
  std::vector<PlantMessage> messages;  // as many as the largest batch had: their memory is used again
  std::size_t taken = 0;               // messages of this step
  history::Batch batch;
  JudgingCounts counts;
  Pace show{show_every}, tick{tick_every}, checkpoint{checkpoint_every}, tend{tend_every}, retain{retain_every};
  Accounts accounts;
  journal::Position first_own;  // earlier ones came to an earlier process
  bool rows = false;

  void take_settings();
  bool step(bool last);
  void gather(journal::Position until, std::chrono::milliseconds wait);
  void judge();
  void note(Judged&& judged);
  void save_states(std::size_t stations_at_most);
  bool commit();
  void look_after(nanoseconds now);
  void tell();
};

Judging::Judging(Plant plant, journal::Position from, JudgingParts parts)
    : plant_(std::move(plant)), from_(from), parts_(std::move(parts)), first_own_(parts_.journal->status().next) {}

Judging::~Judging() {
  stop();
}

void Judging::start() {
  if (!thread_.joinable()) thread_ = std::thread([this] { run(); });
}

void Judging::stop() {
  {
    const std::lock_guard guard(mutex_);
    stopping_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void Judging::reconfigure(PlantSettings settings) {
  const std::lock_guard guard(mutex_);
  settings_ = std::move(settings);
}

void Judging::watch(std::vector<StationId> stations) {
  const std::lock_guard guard(mutex_);
  watched_ = std::move(stations);
}

JudgingCounts Judging::counts() const {
  const std::lock_guard guard(mutex_);
  return counts_;
}

std::optional<std::string> Judging::failure() const {
  const std::lock_guard guard(mutex_);
  return failure_;
}

bool Judging::pause(std::chrono::milliseconds time) {
  std::unique_lock lock(mutex_);
  return !changed_.wait_for(lock, time, [&] { return stopping_; });
}

void Judging::run() {
  try {
    Loop loop(*this);
    while (pause(loop.taken >= batch_messages_busy ? batch_spacing_busy : batch_spacing))
      if (!loop.step(false)) return;
    (void)loop.step(true);
  } catch (const std::exception& thrown) {
    const std::lock_guard guard(mutex_);
    failure_ = std::string("the judgement has ended: ") + thrown.what();
  }
}

void Judging::Loop::take_settings() {
  std::optional<PlantSettings> settings;
  std::optional<std::vector<StationId>> watched;
  {
    const std::lock_guard guard(judging.mutex_);
    settings = std::exchange(judging.settings_, std::nullopt);
    watched = std::exchange(judging.watched_, std::nullopt);
  }
  if (watched) judging.plant_.watch(*watched);
  if (settings) judging.plant_.reconfigure(std::move(*settings));
}

// One batch; the last one of a clean end takes all that is there. False: the thread is to end.
bool Judging::Loop::step(bool last) {
  ++judging.pulse_;
  take_settings();
  const Mark mark = judging.parts_.intake->mark();
  const nanoseconds began = steady_now();
  do {
    gather(mark.next, last ? std::chrono::milliseconds{0} : std::chrono::milliseconds(journal_wait));
    if (taken == 0) break;
    judge();
    if (last && !commit()) return false;
  } while (last && reader.next() < mark.next && steady_now() - began < drain_max);
  const nanoseconds now = steady_now();
  if (reader.next() >= mark.next && mark.now > judging.plant_.now() && (last || tick.due(now)))
    note(judging.plant_.advance_to(mark.now));
  if (last)
    save_states(counts.stations + 1'000'000);
  else if (checkpoint.due(now))
    save_states(counts.stations / checkpoint_rounds + 1);
  if (!commit()) return false;
  look_after(now);
  tell();
  return true;
}

// The journal gives a chunk at a time; what is there up to `until` becomes one batch. Waits only for the
// first.
void Judging::Loop::gather(journal::Position until, std::chrono::milliseconds wait) {
  taken = 0;
  std::size_t bytes = 0;
  while (taken < batch_messages_max && bytes < batch_bytes_max) {
    const auto records = reader.read({batch_messages_max - taken, batch_bytes_max - bytes}, wait);
    if (records.empty()) return;
    if (messages.size() < taken + records.size()) messages.resize(taken + records.size());
    for (const journal::RecordView& record : records) {
      PlantMessage& message = messages[taken++];
      message.position = record.position;
      message.message.received = record.received;
      message.message.topic.assign(record.topic);
      message.message.payload.assign(record.payload);
      bytes += record.topic.size() + record.payload.size();
    }
    if (reader.next() >= until) return;
    wait = std::chrono::milliseconds{0};
  }
}

void Judging::Loop::judge() {
  const auto batch_messages = std::span(messages).first(taken);
  for (const PlantMessage& message : batch_messages) ++(message.position < first_own ? counts.from_before : counts.messages);
  note(judging.plant_.judge(batch_messages));
  for (PlantMessage& message : batch_messages)
    if (message.message.payload.capacity() > payload_bytes_kept) std::string().swap(message.message.payload);
}

void Judging::Loop::note(Judged&& judged) {
  counts.half_cycles += judged.half_cycles.size();
  counts.warning_changes += judged.warnings.size();
  counts.faults += judged.faults.size();
  for (const auto& row : judged.faults) run_events::fault(row);
  for (const auto& row : judged.warnings) run_events::warning(row);
  rows = rows || judged.has_output();
  if (!judged.seen.empty() && judging.parts_.seen) judging.parts_.seen(std::move(judged.seen));
  append_judged(batch, std::move(judged));
}

void Judging::Loop::save_states(std::size_t stations_at_most) {
  append_judged(batch, judging.plant_.checkpoint(stations_at_most));
}

bool Judging::Loop::commit() {
  if (is_empty(batch)) return true;
  batch.taken_to = reader.next();
  batch.resume_from = judging.plant_.needed_from().value_or(batch.taken_to);
  for (;;) {
    const auto committed = judging.parts_.history->commit(batch);
    if (committed) break;
    ++counts.commit_failures;
    ++judging.pulse_;
    run_events::commit_failed(name_of(committed.error().cause), committed.error().text);
    if (!committed.error().worth_retrying()) {
      const std::lock_guard guard(judging.mutex_);
      judging.failure_ = "the history cannot be written: " + committed.error().text;
      return false;
    }
    tell();
    if (!judging.pause(commit_retry)) return false;
  }
  ++counts.commits;
  batch = {};
  if (std::exchange(rows, false)) judging.parts_.committed();
  return true;
}

void Judging::Loop::look_after(nanoseconds now) {
  if (judging.parts_.plant && show.due(now)) judging.parts_.plant(judging.plant_.now(), judging.plant_.stations());
  if (tend.due(now)) {
    if (const auto tended = judging.parts_.history->tend(judging.plant_.now()); !tended)
      run_events::tend_failed(name_of(tended.error().cause), tended.error().text);
    const auto stations = judging.plant_.stations();
    counts.stations = stations.size();
    counts.set_aside = 0;
    for (const StationSummary& station : stations) counts.set_aside += station.set_aside ? 1 : 0;
    accounts.take(stations, counts);
  }
  if (retain.due(now))
    judging.parts_.journal->retain(judging.parts_.history->needed_from(), judging.plant_.now());
}

void Judging::Loop::tell() {
  const journal::Position next = judging.parts_.journal->status().next;
  counts.behind = next > reader.next() ? next - reader.next() : 0;
  const std::lock_guard guard(judging.mutex_);
  judging.counts_ = counts;
}

}  // namespace driftline
