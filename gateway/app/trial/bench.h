// The Trial bench's answers: one station's kept events, tried while somebody waits. JSON in, JSON out.
//
// A station's tape, its noise and what the thresholds in force said of it are kept for the next question (bench_stations_kept,
// bench_fresh_for): then a candidate costs one play of the tape, about 0.1 to 0.2 s for a station's year, two on two threads.
// The station is tried alone: what its site's stations have in common changes the weights of causes and nothing else.
#pragma once

#include <chrono>
#include <functional>
#include <list>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "gateway/app/trial/bench_station.h"

namespace driftline::trial {

inline constexpr std::size_t bench_stations_kept = 8;             // about 25 MB each
inline constexpr std::chrono::minutes bench_fresh_for{10};

class Bench {
 public:
  using ContextOf = std::function<rules::StationContext(const StationId&)>;
  Bench(std::string history_file, ContextOf in_force) : file_(std::move(history_file)), in_force_(std::move(in_force)) {}

  // The question: bench_question.h. Gives, for the station: turns of the condition's figure against the usual, troubles, and for what is in force and each
  // candidate the warnings of the condition with what differs, the price, and the price curve. An error is words for a person.
  // Any thread, several at once. `steady` in nanoseconds.
  [[nodiscard]] tl::expected<std::string, std::string> answer(const StationId& station, std::string_view question, std::chrono::nanoseconds steady);

 private:
  std::shared_ptr<const BenchStation> recent(const StationId& station, const rules::StationContext& in_force, std::chrono::nanoseconds steady);
  tl::expected<std::shared_ptr<const BenchStation>, std::string> kept(const StationId& station, std::chrono::nanoseconds steady);

  const std::string file_;
  const ContextOf in_force_;
  std::mutex mutex_;  // all below
  std::list<std::shared_ptr<const BenchStation>> recent_;  // latest first
};

}  // namespace driftline::trial
