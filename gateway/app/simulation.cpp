#include "gateway/app/simulation.h"

#include <fstream>
#include <thread>

#include "gateway/app/clock.h"
#include "gateway/broker/link.h"
#include "gateway/simulate/plan_text.h"
#include "gateway/simulate/plant.h"
#include "gateway/simulate/publish.h"
#include "gateway/telemetry/recording.h"

namespace driftline {
namespace {

constexpr auto beat = std::chrono::milliseconds(20);
constexpr auto confirm_within = std::chrono::seconds(30);
constexpr auto retry_after = std::chrono::seconds(1);
constexpr std::size_t messages_at_once = 500;  // bounds what waits for the broker's word
constexpr int first_attempts = 10;

std::filesystem::path beside(const std::filesystem::path& file, const std::string& ending) {
  std::string name = file.filename().string();
  for (const std::string cut : {".gz", ".ndjson"})
    if (name.ends_with(cut)) name.resize(name.size() - cut.size());
  return file.parent_path() / (name + ending);
}

bool write_text(const std::filesystem::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary | std::ios::trunc);
  out << text;
  return static_cast<bool>(out.flush());
}

std::optional<std::string> send(broker::Link& link, std::vector<Message>& messages) {
  std::vector<broker::Outgoing> part;
  for (std::size_t i = 0; i < messages.size();) {
    part.clear();
    for (; i < messages.size() && part.size() < messages_at_once; ++i) {
      const bool retained = simulate::is_retained(messages[i].topic);
      part.push_back({std::move(messages[i].topic), std::move(messages[i].payload), retained});
    }
    // At QoS 1 a part that was not confirmed is sent again: doubled samples are part of the contract.
    while (const auto failure = link.publish(part, confirm_within)) {
      std::this_thread::sleep_for(retry_after);
      if (const auto still = link.connect()) return "the broker went away: " + still->text;
    }
  }
  return std::nullopt;
}

}  // namespace

std::optional<RecordedSimulation> record_simulation(const simulate::PlantPlan& plan, const std::filesystem::path& file,
                                                    const SimulationWatcher& watch, std::string& why) {
  std::error_code ignored;
  if (file.has_parent_path()) std::filesystem::create_directories(file.parent_path(), ignored);
  auto writer = RecordingWriter::create(file);
  if (!writer) {
    why = writer.error();
    return std::nullopt;
  }
  RecordedSimulation done;
  simulate::Plant plant(plan);
  std::vector<Message> messages;
  while (plant.next(6 * 3600, messages)) {
    for (const Message& message : messages)
      if (const auto failure = writer->write(message)) {
        why = *failure;
        return std::nullopt;
      }
    done.messages += messages.size();
    messages.clear();
    watch({plant.at_days(), plan.days, done.messages, false});
  }
  if (const auto failure = writer->close()) {
    why = *failure;
    return std::nullopt;
  }
  const auto truth = plant.take_truth();
  for (const simulate::StationTruth& station : truth) {
    done.samples += station.samples;
    done.turns += station.turns.size();
    done.faults += station.faults.size();
  }
  done.truth = beside(file, ".truth.json");
  done.plant = beside(file, ".plant.json");
  if (!write_text(done.truth, simulate::truth_text(plan, truth, file.filename().string(), done.messages)) ||
      !write_text(done.plant, simulate::plant_file_text(plan))) {
    why = "cannot write " + done.truth.string() + " and " + done.plant.string();
    return std::nullopt;
  }
  return done;
}

std::optional<std::string> publish_simulation(const simulate::PlantPlan& plan, const broker::BrokerSettings& settings, const Pace& pace,
                                              const std::atomic<bool>& stop, const SimulationWatcher& watch, std::uint64_t& messages) {
  broker::Link link(settings, settings.client_id, broker::Session::fresh, std::nullopt,
                    {[](std::string_view, std::string_view) {}, [](const broker::LinkFailure&) {}});
  for (int attempt = 1; const auto failure = link.connect(); ++attempt) {
    if (attempt == first_attempts || stop) return failure->text;
    std::this_thread::sleep_for(retry_after);
  }
  simulate::Playback playback(plan, pace.speed, pace.rush_days);
  const auto started = steady_now();
  while (!stop) {
    const double elapsed_s = std::chrono::duration<double>(steady_now() - started).count();
    auto due = playback.due(elapsed_s, wall_now());
    if (!due) break;
    messages += due->size();
    if (const auto failure = send(link, *due)) return failure;
    watch({days_between(plan.from, playback.simulated()), plan.days, messages, playback.rushing()});
    if (!playback.rushing()) std::this_thread::sleep_for(beat);
  }
  link.disconnect();
  return std::nullopt;
}

}  // namespace driftline
