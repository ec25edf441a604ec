// What a trial plays: the history of a gateway, running or not, or recordings.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "gateway/app/plant.h"
#include "gateway/app/trial/trial.h"

namespace driftline::trial {

// Of stations in the history those that `wanted` names, or all where it is empty. `until` empty: what was heard last. The
// history is read while the gateway goes on writing; a tape is read when it is asked for.
[[nodiscard]] tl::expected<Material, std::string> material_of_history(const std::string& file, const std::vector<StationId>& wanted,
                                                                      std::optional<Time> until);

// Recordings go through reconstruction first; all their tapes are in memory afterwards (fed_tape.h says how large). `tell` has
// bytes read, of all, and messages.
using ReadTelling = std::function<void(std::uint64_t, std::uint64_t, std::uint64_t)>;
[[nodiscard]] tl::expected<Material, std::string> material_of_recordings(PlantSettings settings,
                                                                         const std::vector<std::filesystem::path>& recordings,
                                                                         const std::vector<StationId>& wanted, const ReadTelling& tell);

// The same from a plant that has judged with keep_fed and without keep_states: one tape a station.
class TapeMaker {
 public:
  void take(Judged&& judged);
  [[nodiscard]] std::map<StationId, std::shared_ptr<const history::FedTape>> done();

 private:
  struct Making {
    history::FedPacker packer;
    history::FedTape tape;
    std::int64_t told = 0;
    std::int64_t fed = 0;
  };
  std::map<StationId, Making> making_;
};

// Contexts of the stations: as configured, or with the defaults.
[[nodiscard]] Contexts contexts_of(const std::vector<StationId>& stations, const PlantSettings& settings);

}  // namespace driftline::trial
