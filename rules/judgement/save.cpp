// States to bytes and back: a version, then cereal's portable binary (little-endian, numbers exact).
#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/array.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/map.hpp>
#include <cereal/types/optional.hpp>
#include <cereal/types/string.hpp>
#include <cereal/types/utility.hpp>
#include <cereal/types/vector.hpp>
#include <sstream>

#include "rules/judgement/site_state.h"
#include "rules/judgement/station_rules.h"
#include "rules/judgement/station_state.h"
#include "rules/records/serialize.h"

namespace driftline::rules {
namespace {
constexpr std::uint32_t state_version = 5;

template <class State>
std::string bytes_of(const State& state) {
  std::ostringstream bytes;
  cereal::PortableBinaryOutputArchive archive(bytes);
  archive(state_version, state);
  return std::move(bytes).str();
}

template <class State>
std::optional<State> state_of(std::string_view bytes) {
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
    return std::nullopt;  // damaged: rebuilt from the journal
  }
}
}  // namespace

std::string save(const StationState& state) { return bytes_of(state); }
std::string save(const SiteState& state) { return bytes_of(state); }
std::optional<StationState> load_station(std::string_view bytes) { return state_of<StationState>(bytes); }
std::optional<SiteState> load_site(std::string_view bytes) { return state_of<SiteState>(bytes); }

}  // namespace driftline::rules
