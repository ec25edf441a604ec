#include "gateway/app/health.h"

#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "gateway/app/run_limits.h"
#include "rules/records/time_text.h"

namespace driftline {
namespace {

std::string_view name_of(broker::SourceState state) {
  switch (state) {
    case broker::SourceState::stopped:
      return "stopped";
    case broker::SourceState::connecting:
      return "connecting";
    case broker::SourceState::listening:
      return "listening";
  }
  return "unknown";
}

}  // namespace

std::filesystem::path health_file(const std::filesystem::path& data_folder) {
  return data_folder / "health.json";
}

bool write_health(const std::filesystem::path& data_folder, const GatewayStatus& status, bool alive,
                  Time now) {
  const nlohmann::ordered_json content{{"time", rfc3339(now)},
                                       {"alive", alive},
                                       {"broker", name_of(status.source)},
                                       {"publishing", status.publisher_connected},
                                       {"received", status.received.received},
                                       {"left_with_broker", status.received.not_taken},
                                       {"judged", status.judged.messages},
                                       {"judged_from_before", status.judged.from_before},
                                       {"waiting", status.judged.behind},
                                       {"stations", status.judged.stations},
                                       {"set_aside", status.judged.set_aside},
                                       {"samples",
                                        {{"used", status.judged.samples.used},
                                         {"doubled", status.judged.samples.doubled},
                                         {"behind", status.judged.samples.behind},
                                         {"held", status.judged.samples.held},
                                         {"refused", status.judged.samples.refused}}},
                                       {"clocks_off", status.judged.clocks_off},
                                       {"clock_most_off", status.judged.clock_most_off},
                                       {"half_cycles", status.judged.half_cycles},
                                       {"warning_changes", status.judged.warning_changes},
                                       {"faults", status.judged.faults},
                                       {"published", status.published.published},
                                       {"journal_bytes", status.journal.bytes},
                                       {"disk_trouble", status.journal.sync_failing}};
  const std::filesystem::path file = health_file(data_folder);
  const std::filesystem::path fresh = file.string() + ".new";
  std::ofstream out(fresh, std::ios::binary | std::ios::trunc);
  out << content.dump() << '\n';
  out.close();
  std::error_code failed;
  if (out) std::filesystem::rename(fresh, file, failed);
  return out && !failed;
}

void remove_health(const std::filesystem::path& data_folder) {
  std::error_code ignored;
  std::filesystem::remove(health_file(data_folder), ignored);
}

Health read_health(const std::filesystem::path& data_folder, Time now) {
  const std::filesystem::path file = health_file(data_folder);
  std::ifstream in(file, std::ios::binary);
  if (!in)
    return {false, "no gateway runs on " + data_folder.string() + " (" + file.string() + " is not there)"};
  std::ostringstream text;
  text << in.rdbuf();
  const auto content = nlohmann::json::parse(text.str(), nullptr, false);
  if (!content.is_object() || !content.contains("time") || !content["time"].is_string() ||
      !content.contains("alive"))
    return {false, file.string() + " is not what the gateway writes"};
  const auto time = parse_rfc3339(content["time"].get<std::string>());
  if (!time) return {false, file.string() + " has no readable time"};
  const double age_s = seconds_between(*time, now);
  std::string line = text.str();
  if (!line.empty() && line.back() == '\n') line.pop_back();
  if (age_s > std::chrono::duration<double>(health_stale_after).count())
    return {false,
            "the gateway has not been heard for " + std::to_string(static_cast<long>(age_s)) + " s: " + line};
  return {content["alive"] == true, line};
}

std::string status_line(const GatewayStatus& status) {
  return std::string(name_of(status.source)) + ", " + std::to_string(status.received.received) +
         " messages, " + std::to_string(status.judged.behind) + " waiting, " +
         std::to_string(status.judged.stations) + " stations, " +
         std::to_string(status.judged.warning_changes) + " changes of warnings";
}

}  // namespace driftline
