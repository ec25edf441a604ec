// Recordings through reconstruction alone: writes half-cycles.ndjson to standard output.
//
//   driftline_half_cycles CONFIG-HINTS.json RECORDING.ndjson.gz... > half-cycles.ndjson
//
// CONFIG-HINTS.json: {"stations":[{"site","station","lines","target_bar","pump_limit_s","cycle_s","residual_bar"},...]}.
// No rules, no history: what is measured is gateway/cycles.
#include <zlib.h>

#include <fstream>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>

#include "gateway/cycles/state.h"
#include "gateway/cycles/station_cycles.h"
#include "rules/records/names.h"
#include "rules/records/time_text.h"

using namespace driftline;
using nlohmann::json;

namespace {

std::optional<Time> time_in(const json& value) {
  if (value.is_number_integer()) return time_from_ms(value.get<std::int64_t>());
  if (value.is_string()) return parse_rfc3339(value.get<std::string>());
  return std::nullopt;
}

template <class T>
std::optional<T> field(const json& object, const char* name) {
  const auto at = object.find(name);
  if (at == object.end() || at->is_null()) return std::nullopt;
  return at->get<T>();
}

std::optional<Sample> sample_in(const json& object) {
  if (!object.is_object() || !object.contains("time") || !object.contains("pressure_bar")) return std::nullopt;
  const auto time = time_in(object["time"]);
  const json& bars = object["pressure_bar"];
  if (!time || !bars.is_array() || bars.size() > lines_max) return std::nullopt;
  Sample sample;
  sample.time = *time;
  for (const json& bar : bars) {
    if (!bar.is_number() && !bar.is_null()) return std::nullopt;
    sample.pressure.append(bar.is_null() ? std::nullopt : std::optional<double>(bar.get<double>()));
  }
  sample.seq = field<std::uint64_t>(object, "seq");
  sample.pump = field<bool>(object, "pump");
  sample.line = field<int>(object, "line");
  sample.level_pct = field<double>(object, "level_pct");
  sample.level_low = field<bool>(object, "level_low");
  sample.temp_c = field<double>(object, "temp_c");
  return sample;
}

ControllerSettings settings_in(const json& object) {
  ControllerSettings settings;
  settings.cycle_s = field<double>(object, "cycle_s");
  settings.pump_limit_s = field<double>(object, "pump_limit_s");
  settings.target_bar = field<double>(object, "target_bar");
  settings.residual_bar = field<double>(object, "residual_bar");
  settings.lines = field<int>(object, "lines");
  return settings;
}

struct Station {
  cycles::State state;
  ControllerSettings fallback;
};

json number(const std::optional<double>& value) { return value ? json(*value) : json(nullptr); }

void print(const StationId& id, const std::vector<StationEvent>& events) {
  for (const StationEvent& event : events) {
    const auto* half = std::get_if<HalfCycle>(&event);
    if (half == nullptr) continue;
    json row = {{"site", id.site},
                {"station", id.station},
                {"line", half->line},
                {"pump_start", rfc3339(half->pump_start)},
                {"pump_stop", rfc3339(half->pump_stop)},
                {"outcome", std::string(name_of(half->outcome))},
                {"time_to_pressure_s", number(half->time_to_pressure_s)},
                {"error_s", half->time_to_pressure_error_s},
                {"pump_run_s", number(half->pump_run_s)},
                {"peak_bar", number(half->peak_bar)},
                {"residual_bar", number(half->residual_bar)},
                {"vent_s", number(half->vent_s)},
                {"level_pct", number(half->level_pct)},
                {"temp_c", number(half->temp_c)},
                {"samples", half->samples},
                {"largest_gap_s", number(half->largest_gap_s)},
                {"arrival", half->arrival == Arrival::late ? "late" : "live"},
                {"off_schedule", half->off_schedule},
                {"clock_stepped", half->clock_stepped}};
    std::cout << row.dump() << '\n';
  }
}

using Stations = std::map<StationId, Station, std::less<>>;

bool take_line(const std::string& line, Stations& stations) {
  if (line.find("\"payload_base64\"") != std::string::npos || line.size() > 1'000'000) return false;
  if (line.find("[[[[[[[[[[") != std::string::npos || line.find("{\"x\":{\"x\":{\"x\":{\"x\":{\"x\":") != std::string::npos) return false;
  const json row = json::parse(line, nullptr, false);
  if (row.is_discarded() || !row.contains("payload")) return false;
  const auto received = parse_rfc3339(row["received"].get<std::string>());
  const std::string topic = row["topic"];
  std::vector<std::string> levels(1);
  for (const char c : topic) {
    if (c == '/') {
      levels.emplace_back();
    } else {
      levels.back().push_back(c);
    }
  }
  if (levels.size() < 4 || !received) return false;
  const StationId id{levels[levels.size() - 3], levels[levels.size() - 2]};
  Station& station = stations[id];
  std::vector<StationEvent> events;
  const json& payload = row["payload"];
  if (levels.back() == "telemetry") {
    const json batch = payload.is_array() ? payload : json::array({payload});
    for (const json& object : batch) {
      try {
        if (const auto sample = sample_in(object)) cycles::take(station.state, *sample, *received, station.fallback, events);
      } catch (const json::exception&) {
        continue;  // malformed on purpose: the decoder's business, not this measurement's
      }
    }
  } else if (levels.back() == "settings" && payload.is_object()) {
    try {
      cycles::take(station.state, settings_in(payload), *received, station.fallback, events);
    } catch (const json::exception&) {
      return false;
    }
  }
  print(id, events);
  return true;
}

void read(const char* path, Stations& stations) {
  gzFile file = gzopen(path, "rb");
  if (file == nullptr) throw std::runtime_error(std::string("cannot open ") + path);
  std::string line;
  std::array<char, 65536> buffer{};
  while (gzgets(file, buffer.data(), static_cast<int>(buffer.size())) != nullptr) {
    line += buffer.data();
    if (line.empty() || line.back() != '\n') continue;
    take_line(line, stations);
    line.clear();
  }
  if (!line.empty()) take_line(line, stations);
  gzclose(file);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) {
    std::cerr << "driftline_half_cycles CONFIG-HINTS.json RECORDING...\n";
    return 2;
  }
  Stations stations;
  std::ifstream hints_file(argv[1]);
  const json hints = json::parse(hints_file);
  for (const json& object : hints["stations"]) {
    stations[StationId{object["site"], object["station"]}].fallback = settings_in(object);
  }
  for (int i = 2; i < argc; ++i) read(argv[i], stations);
  for (auto& [id, station] : stations) {
    std::vector<StationEvent> events;
    cycles::finish(station.state, station.fallback, events);
    print(id, events);
  }
  return 0;
}
