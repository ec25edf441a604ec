#include "gateway/app/trial/bench.h"

#include "gateway/app/trial/bench_answer.h"
#include "gateway/app/trial/parallel.h"
#include "gateway/app/trial/play.h"

namespace driftline::trial {

// As long as the thresholds in force are the same and it is fresh; then it is read anew.
std::shared_ptr<const BenchStation> Bench::recent(const StationId& station, const rules::StationContext& in_force, std::chrono::nanoseconds steady) {
  const std::lock_guard guard(mutex_);
  for (auto at = recent_.begin(); at != recent_.end(); ++at) {
    if ((*at)->id != station) continue;
    if (steady - (*at)->read_at > bench_fresh_for || !((*at)->in_force == in_force)) {
      recent_.erase(at);
      return nullptr;
    }
    recent_.splice(recent_.begin(), recent_, at);
    return recent_.front();
  }
  return nullptr;
}

tl::expected<std::shared_ptr<const BenchStation>, std::string> Bench::kept(const StationId& station, std::chrono::nanoseconds steady) {
  const rules::StationContext in_force = in_force_(station);
  if (auto known = recent(station, in_force, steady)) return known;
  auto read = bench_station(file_, station, in_force, steady);
  if (!read) return read;
  const std::lock_guard guard(mutex_);
  recent_.push_front(*read);
  if (recent_.size() > bench_stations_kept) recent_.pop_back();
  return read;
}

tl::expected<std::string, std::string> Bench::answer(const StationId& station, std::string_view question_text, std::chrono::nanoseconds steady) {
  const auto now = kept(station, steady);
  if (!now) return tl::unexpected(now.error());
  const BenchStation& known = **now;
  const auto question = read_question(question_text, {{station, known.in_force}});
  if (!question) return tl::unexpected(question.error());
  std::vector<CandidateResult> results(question->candidates.size());
  in_parallel(results.size(), static_cast<int>(results.size()), [&](std::size_t i) {
    std::vector<fold::Step> steps = play(*known.tape, question->candidates[i].contexts.at(station), known.until);
    results[i].episodes = episodes_alone(station, std::move(steps), known.heard.troubles, known.until);
    compare(results[i], known.episodes);
  });
  return bench_answer(known, *question, results);
}

}  // namespace driftline::trial
