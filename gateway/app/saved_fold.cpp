#include "gateway/app/saved_fold.h"

#include <cereal/archives/portable_binary.hpp>
#include <cereal/types/chrono.hpp>
#include <cereal/types/string.hpp>
#include <cstdint>
#include <sstream>
#include <utility>

namespace driftline::fold {
namespace {

constexpr std::uint32_t station_version = 2;
constexpr std::uint32_t site_version = 1;

}  // namespace

std::string saved(const Station& station) {
  std::ostringstream out;
  cereal::PortableBinaryOutputArchive archive(out);
  const StationSummary& s = station.summary;
  archive(station_version, station.reached, station.last_taken.time_since_epoch().count(), s.messages, s.samples, s.samples_refused, s.faults,
          cycles::save(station.cycles), rules::save(station.rules));
  return std::move(out).str();
}

bool restore(Station& station, std::string_view bytes) {
  try {
    std::istringstream in{std::string(bytes)};
    cereal::PortableBinaryInputArchive archive(in);
    std::uint32_t version = 0;
    archive(version);
    if (version != station_version) return false;
    Position reached = 0;
    std::int64_t last_taken_ms = 0;
    StationSummary summary = station.summary;
    std::string cycles_bytes;
    std::string rules_bytes;
    archive(reached, last_taken_ms, summary.messages, summary.samples, summary.samples_refused, summary.faults, cycles_bytes, rules_bytes);
    auto cycles_state = cycles::load(cycles_bytes);
    auto rules_state = rules::load_station(rules_bytes);
    if (!cycles_state || !rules_state) return false;
    station.reached = reached;
    station.last_taken = time_from_ms(last_taken_ms);
    station.summary = summary;
    if (summary.messages > 0) station.summary.last_received = station.last_taken;
    station.cycles = std::move(*cycles_state);
    station.rules = std::move(*rules_state);
    return true;
  } catch (const cereal::Exception&) {
    return false;
  }
}

std::string saved(const Site& site) {
  std::ostringstream out;
  cereal::PortableBinaryOutputArchive archive(out);
  archive(site_version, site.last_taken.time_since_epoch().count(), rules::save(site.state));
  return std::move(out).str();
}

bool restore(Site& site, std::string_view bytes) {
  try {
    std::istringstream in{std::string(bytes)};
    cereal::PortableBinaryInputArchive archive(in);
    std::uint32_t version = 0;
    std::int64_t last_taken_ms = 0;
    std::string state_bytes;
    archive(version);
    if (version != site_version) return false;
    archive(last_taken_ms, state_bytes);
    auto state = rules::load_site(state_bytes);
    if (!state) return false;
    site.state = std::move(*state);
    site.last_taken = time_from_ms(last_taken_ms);
    return true;
  } catch (const cereal::Exception&) {
    return false;
  }
}

}  // namespace driftline::fold
