// State to bytes and back: a version, then cereal's portable binary (little-endian, doubles exact).
#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/array.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/optional.hpp>
#include <cereal/types/vector.hpp>
#include <sstream>

#include "gateway/cycles/state.h"
#include "gateway/cycles/station_cycles.h"
#include "rules/records/serialize.h"

namespace driftline {

template <class Archive>
void serialize(Archive& archive, Pressures& v) {
  archive(v.bar, v.lines, v.given);
}
template <class Archive>
void serialize(Archive& archive, Sample& v) {
  archive(v.time, v.seq, v.pump, v.line, v.pressure, v.level_pct, v.level_low, v.temp_c);
}

namespace cycles {

template <class Archive>
void serialize(Archive& archive, HeldSample& v) {
  archive(v.sample, v.received, v.step_ms, v.late);
}
template <class Archive>
void serialize(Archive& archive, TracePoint& v) {
  archive(v.at_ms, v.line, v.given, v.bar);
}
template <class Archive>
void serialize(Archive& archive, Trace& v) {
  archive(v.base, v.points);
}
template <class Archive>
void serialize(Archive& archive, Turn& v) {
  archive(v.rest, v.run, v.vent, v.pump_given, v.line, v.start_edged, v.missing_before, v.head_missing, v.tail_missing, v.restarted, v.after_hole, v.clock_stepped, v.stepped_ms, v.late,
          v.samples, v.largest_gap_ms, v.interval_ms, v.beat_ms, v.level_pct, v.temp_c, v.settings);
}
template <class Archive>
void serialize(Archive& archive, StartHabit& v) {
  archive(v.interval_s, v.turns, v.sum, v.weight, v.first_s, v.spread_s, v.firsts, v.next);
}
template <class Archive>
void serialize(Archive& archive, LineHabit& v) {
  archive(v.start, v.run_on_s, v.steep_bar_per_s, v.floor_bar, v.run_s);
}
template <class Archive>
void serialize(Archive& archive, Habits& v) {
  archive(v.lines, v.start_edges, v.stop_edges, v.due_from, v.astray_from);
}
template <class Archive>
void serialize(Archive& archive, Hole& v) {
  archive(v.before, v.after, v.cut, v.ended_turn, v.run_after, v.bridged, v.noticed);
}
template <class Archive>
void serialize(Archive& archive, Readings::Gauge& v) {
  archive(v.missing, v.nonsense, v.since, v.told);
}
template <class Archive>
void serialize(Archive& archive, State& v) {
  archive(v.clock, v.window, v.live, v.late, v.readings, v.habits, v.announced, v.last_heartbeat, v.counts);
}

namespace {
constexpr std::uint32_t state_version = 3;
}

std::string save(const State& state) {
  std::ostringstream bytes;
  cereal::PortableBinaryOutputArchive archive(bytes);
  archive(state_version, state);
  return std::move(bytes).str();
}

std::optional<State> load(std::string_view bytes) {
  try {
    std::istringstream stream{std::string(bytes)};
    cereal::PortableBinaryInputArchive archive(stream);
    std::uint32_t version = 0;
    archive(version);
    if (version != state_version) return std::nullopt;
    State state;
    archive(state);
    if (stream.peek() != std::istringstream::traits_type::eof()) return std::nullopt;
    return state;
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

}  // namespace cycles
}  // namespace driftline
