#include "gateway/app/trial/material.h"

#include <algorithm>
#include <utility>

#include "gateway/app/limits.h"
#include "gateway/history/reader.h"
#include "gateway/telemetry/recording.h"

namespace driftline::trial {
namespace {

constexpr std::size_t chunk_bytes = 1 << 20;  // a chunk of a tape in memory

bool is_wanted(const StationId& id, const std::vector<StationId>& wanted) {
  return wanted.empty() || std::find(wanted.begin(), wanted.end(), id) != wanted.end();
}

std::string name_of(const StationId& id) { return id.site + "/" + id.station; }

std::optional<std::string> absent(const std::vector<StationId>& wanted, const std::vector<StationId>& there) {
  for (const StationId& id : wanted)
    if (std::find(there.begin(), there.end(), id) == there.end()) return "nothing is known of the station " + name_of(id);
  return std::nullopt;
}

}  // namespace

tl::expected<Material, std::string> material_of_history(const std::string& file, const std::vector<StationId>& wanted,
                                                        std::optional<Time> until) {
  auto reader = history::Reader::open(file);
  if (!reader) return tl::unexpected("the history " + file + " cannot be read: " + reader.error().text);
  const auto stations = (*reader)->fed_stations();
  if (!stations) return tl::unexpected(stations.error().text);
  Material material;
  Time last{};
  for (const history::FedStation& station : *stations) {
    if (!is_wanted(station.id, wanted)) continue;
    material.stations.push_back(station.id);
    last = std::max(last, station.last);
  }
  if (const auto missing = absent(wanted, material.stations)) return tl::unexpected(*missing + " in " + file);
  if (material.stations.empty()) return tl::unexpected("the history " + file + " holds nothing that could be tried yet");
  material.until = until.value_or(last);
  material.tape = [file, end = material.until](const StationId& id) -> tl::expected<std::shared_ptr<const history::FedTape>, std::string> {
    auto own = history::Reader::open(file);
    if (!own) return tl::unexpected(own.error().text);
    auto tape = (*own)->fed_tape(id, {time_from_ms(0), end + std::chrono::milliseconds{1}}, false);
    if (!tape) return tl::unexpected(tape.error().text);
    return std::make_shared<const history::FedTape>(std::move(*tape));
  };
  return material;
}

void TapeMaker::take(Judged&& judged) {
  for (auto& row : judged.half_cycles) {
    Making& making = making_[row.station];
    row.half_cycle.shape.curve.clear();  // the rules do not look at it
    making.tape.add_half_cycle(++making.told, std::move(row.half_cycle));
  }
  for (const auto& row : judged.fed) {
    Making& making = making_[row.station];
    making.packer.put(row.event, std::holds_alternative<TurnTold>(row.event.body) ? ++making.fed : 0);
    if (making.packer.bytes().size() < chunk_bytes) continue;
    making.tape.add_chunk(making.packer.bytes());
    making.packer = {};
  }
}

std::map<StationId, std::shared_ptr<const history::FedTape>> TapeMaker::done() {
  std::map<StationId, std::shared_ptr<const history::FedTape>> tapes;
  for (auto& [id, making] : making_) {
    if (making.packer.count() > 0) making.tape.add_chunk(making.packer.bytes());
    tapes.emplace(id, std::make_shared<const history::FedTape>(std::move(making.tape)));
  }
  making_.clear();
  return tapes;
}

tl::expected<Material, std::string> material_of_recordings(PlantSettings settings, const std::vector<std::filesystem::path>& recordings,
                                                           const std::vector<StationId>& wanted, const ReadTelling& tell) {
  auto reader = RecordingReader::open(recordings);
  if (!reader) return tl::unexpected(reader.error());
  settings.keep_states = false;
  settings.keep_fed = true;
  Plant plant(std::move(settings));
  TapeMaker maker;
  RecordFault fault;
  Position position = 0;
  for (bool last = false; !last;) {
    std::vector<PlantMessage> messages;
    while (messages.size() < replay_batch_messages) {
      PlantMessage& next = messages.emplace_back();
      const auto step = reader->next(next.message, fault);
      if (step == RecordingReader::Step::message) {
        next.position = ++position;
        continue;
      }
      messages.pop_back();
      if (step != RecordingReader::Step::end) continue;
      last = true;
      break;
    }
    if (!messages.empty()) maker.take(plant.judge(messages));
    tell(reader->progress().bytes_read, reader->progress().bytes_total, position);
  }
  maker.take(plant.finish());
  Material material;
  material.until = plant.now();
  auto tapes = maker.done();
  for (const auto& [id, tape] : tapes)
    if (is_wanted(id, wanted) && !tape->half_cycles().empty()) material.stations.push_back(id);
  if (const auto missing = absent(wanted, material.stations)) return tl::unexpected(*missing);
  if (material.stations.empty()) return tl::unexpected(std::string("the recordings hold no turn of any station"));
  material.tape = [tapes = std::move(tapes)](const StationId& id) -> tl::expected<std::shared_ptr<const history::FedTape>, std::string> {
    return tapes.at(id);
  };
  return material;
}

Contexts contexts_of(const std::vector<StationId>& stations, const PlantSettings& settings) {
  Contexts contexts;
  for (const StationId& id : stations) {
    const auto configured = settings.stations.find(id);
    contexts.emplace(id, configured == settings.stations.end() ? rules::StationContext{id, {}, settings.defaults} : configured->second);
  }
  return contexts;
}

}  // namespace driftline::trial
