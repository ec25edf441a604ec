// One station as the Trial bench keeps it for the next question: its tape, its noise, and what is in force said of it.
#pragma once

#include <chrono>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/trial/trial.h"

namespace driftline::trial {

struct FigurePoint {
  std::int64_t start_ms = 0;
  float value = 0;  // in the figure's own unit
  float usual = 0;
};

struct BenchStation {
  StationId id;
  rules::StationContext in_force;
  std::chrono::nanoseconds read_at{};  // steady
  Time until{};
  std::shared_ptr<const history::FedTape> tape;
  Listened heard;                      // its steps have become `episodes`
  std::map<Condition, std::map<int, std::vector<FigurePoint>>> figures;  // by line
  std::vector<Episode> episodes;       // in force
};

// The condition whose figure is drawn for another: quick and slow to pressure have one.
[[nodiscard]] Condition drawn_as(Condition condition);

// Reads and plays the station's tape: about half a second for a year. An error is words for a person.
[[nodiscard]] tl::expected<std::shared_ptr<const BenchStation>, std::string> bench_station(const std::string& history_file, const StationId& id,
                                                                                           const rules::StationContext& in_force,
                                                                                           std::chrono::nanoseconds steady);

// What a station's steps come to while it is judged alone.
[[nodiscard]] std::vector<Episode> episodes_alone(const StationId& id, std::vector<fold::Step> steps, const std::vector<Trouble>& troubles, Time until);

}  // namespace driftline::trial
