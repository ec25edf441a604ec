#include "gateway/app/replay.h"

#include <algorithm>
#include <future>

#include "gateway/app/limits.h"
#include "gateway/app/row_files.h"
#include "gateway/telemetry/recording.h"

namespace driftline {
namespace {

// What was read while the plant judged what was read before.
struct Chunk {
  std::vector<PlantMessage> messages;
  std::vector<Judged::FaultRow> unreadable;
  RecordingReader::Progress progress;
  bool last = false;
};

// Reads ahead by one chunk. A line that is no message gets the time of the message before it.
class ChunkReader {
 public:
  explicit ChunkReader(RecordingReader reader) : reader_(std::move(reader)) {}

  Chunk read() {
    Chunk chunk;
    chunk.messages.reserve(replay_batch_messages);
    while (chunk.messages.size() < replay_batch_messages) {
      PlantMessage& arrived = chunk.messages.emplace_back();
      const auto step = reader_.next(arrived.message, fault_);
      if (step == RecordingReader::Step::message) {
        arrived.position = ++position_;
        last_received_ = arrived.message.received;
        continue;
      }
      chunk.messages.pop_back();
      if (step == RecordingReader::Step::end) {
        chunk.last = true;
        break;
      }
      Fault fault = fault_.fault;
      fault.why = "line " + std::to_string(fault_.line) + " of " + fault_.file + ": " + fault.why;
      chunk.unreadable.push_back({last_received_, "", std::nullopt, std::move(fault)});
    }
    chunk.progress = reader_.progress();
    return chunk;
  }

 private:
  RecordingReader reader_;
  RecordFault fault_;
  Position position_ = 0;
  Time last_received_{};
};

void count(const Judged& judged, ReplayReport& report) {
  report.messages += judged.messages;
  report.half_cycles += judged.half_cycles.size();
  report.faults += judged.faults.size();
  report.warnings_raised += static_cast<std::uint64_t>(
      std::count_if(judged.warnings.begin(), judged.warnings.end(),
                    [](const WarningChange& change) { return change.change == Change::raised; }));
}

}  // namespace

ReplayOutcome replay(const ReplaySettings& settings, const std::function<void(const ReplayProgress&)>& tell) {
  auto reader = RecordingReader::open(settings.recordings);
  if (!reader) return {std::nullopt, reader.error()};
  ChunkReader chunks(std::move(*reader));

  PlantSettings plant_settings = settings.plant;
  plant_settings.keep_states = false;
  Plant plant(std::move(plant_settings));
  RowFiles rows;
  ReplayReport report;
  const auto keep = [&](const Judged& judged) {
    count(judged, report);
    rows.add(judged);
  };

  auto ahead = std::async(std::launch::async, [&] { return chunks.read(); });
  for (bool last = false; !last;) {
    Chunk chunk = ahead.get();
    last = chunk.last;
    if (!last) ahead = std::async(std::launch::async, [&] { return chunks.read(); });
    report.lines_unreadable += chunk.unreadable.size();
    Judged unreadable;
    unreadable.faults = std::move(chunk.unreadable);
    keep(unreadable);
    if (!chunk.messages.empty()) keep(plant.judge(chunk.messages));
    tell({chunk.progress.bytes_read, chunk.progress.bytes_total, report.messages});
  }
  keep(plant.finish());

  for (const StationSummary& station : plant.stations()) {
    report.samples += station.samples;
    report.samples_behind += station.samples_behind;
    report.stations += station.messages > 0 ? 1 : 0;
    report.stations_set_aside += station.set_aside ? 1 : 0;
  }
  if (auto why = rows.write(settings.out)) return {std::nullopt, std::move(*why)};
  return {report, ""};
}

}  // namespace driftline
