// A history of many stations for a trial: a recording is judged once, and what came of it is stored for COPIES plants, each at
// sites of its own; with one copy at the sites as they are, warnings and all.
//   trial_history RECORDING PLAN COPIES FILE
//   driftline trial --data FOLDER_OF_FILE --config ...
#include <cstdlib>
#include <iostream>

#include "gateway/app/config.h"
#include "gateway/app/judged_batch.h"
#include "gateway/app/plant.h"
#include "gateway/history/history.h"
#include "gateway/telemetry/recording.h"

namespace {

using namespace driftline;

void rename(history::Batch& batch, const std::string& copy) {
  for (auto& row : batch.half_cycles) row.station.site += copy;
  for (auto& row : batch.fed) row.station.site += copy;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) return std::cerr << "trial_history RECORDING PLAN COPIES FILE\n", 2;
  auto loaded = load_config(argv[2]);
  auto reader = RecordingReader::open({argv[1]});
  auto store = history::History::open({.file = argv[4]});
  if (!loaded.config || !reader || !store) return std::cerr << "cannot be read or written\n", 1;
  PlantSettings settings = loaded.config->plant;
  settings.keep_states = false;
  settings.keep_fed = true;
  settings.threads = 2;
  Plant plant(std::move(settings));
  RecordFault fault;
  Position position = 0;
  const int copies = std::atoi(argv[3]);
  const auto keep = [&](Judged&& judged) {
    history::Batch batch;
    append_judged(batch, std::move(judged));
    if (copies == 1) {
      if (!(*store)->commit(batch)) std::exit(1);
      return;
    }
    batch.warnings.clear();
    batch.reservoir_days.clear();
    batch.forecast_days.clear();
    batch.faults.clear();
    for (int copy = 0; copy < copies; ++copy) {
      history::Batch own = batch;
      rename(own, "-" + std::to_string(copy));
      if (!(*store)->commit(own)) std::exit(1);
    }
  };
  for (bool last = false; !last;) {
    std::vector<PlantMessage> messages;
    while (messages.size() < 200'000) {
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
    keep(plant.judge(messages));
  }
  keep(plant.finish());
  (void)(*store)->tend(plant.now());
  return 0;
}
