#include "gateway/app/expect_text.h"

#include <algorithm>
#include <cstdio>
#include <map>

#include <nlohmann/json.hpp>

namespace driftline {
namespace {

using hydraulics::Expectation;
using hydraulics::ExpectedTurn;
using Json = nlohmann::ordered_json;

std::optional<double> number(const Json& object, const char* name) {
  const auto at = object.find(name);
  return at != object.end() && at->is_number() ? std::optional(at->get<double>()) : std::nullopt;
}

std::optional<double> number_at(const Json& object, const char* name, std::size_t i) {
  const auto at = object.find(name);
  if (at == object.end()) return std::nullopt;
  if (at->is_array()) return i < at->size() && (*at)[i].is_number() ? std::optional((*at)[i].get<double>()) : std::nullopt;
  return at->is_number() ? std::optional(at->get<double>()) : std::nullopt;
}

NamedDesign design_of(const Json& station) {
  NamedDesign out;
  out.name = station.value("site", "") + "/" + station.value("station", "");
  StationDesign& d = out.design;
  d.settings = {number(station, "cycle_s"), number(station, "pump_limit_s"), number(station, "target_bar"), number(station, "residual_bar"), std::nullopt};
  d.displacement_cm3_min = number(station, "displacement_cm3_min");
  const Json built = station.value("design", Json::object());
  const auto lines = static_cast<std::size_t>(std::clamp(number(station, "lines").value_or(1), 1.0, static_cast<double>(lines_max)));
  for (std::size_t i = 0; i < lines; ++i)
    d.lines.push_back({number_at(built, "length_m", i), number_at(built, "bore_mm", i), std::nullopt, number_at(built, "charges_cm3", i)});
  return out;
}

std::string fixed(double value, int decimals) {
  char text[48];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

std::string right(const std::string& text, std::size_t width) { return text.size() < width ? std::string(width - text.size(), ' ') + text : text; }

std::string or_dash(const std::optional<double>& value, int decimals) { return value ? fixed(*value, decimals) : "-"; }

constexpr double vent_accuracy = 2;  // greases differ by about this factor in what they hold

// What stops it first.
std::string verdict(const ExpectedTurn& turn) {
  if (!turn.devices_served) return "does not work: the last devices never open";
  if (!turn.in_time) return "does not work: the pump limit comes first";
  if (turn.vents) return "works";
  const bool open = turn.yield_needed_20c_pa && *turn.yield_needed_20c_pa * vent_accuracy > turn.yield_20c_pa;
  return open ? "doubtful: its far end may hold more than the residual limit" : "does not work: its far end holds more than the residual limit";
}

std::string list(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return out;
}

// What can be done about it.
std::string remedy(const ExpectedTurn& t) {
  const std::string length = t.longest_line_m > 0 ? "at most " + fixed(t.longest_line_m, 1) + " m of this bore work" : "no length of this bore works";
  if (!t.devices_served) return length + "; or a higher target, a wider bore, heating";
  if (!t.in_time) return length + "; or a longer pump limit, a stronger pump, heating";
  return length + "; or a grease of at most " + fixed(t.yield_needed_20c_pa.value_or(0), 0) + " Pa yield stress at 20 C, a wider bore, heating";
}

std::string winter_words(const Expectation& e) {
  struct Fails {
    const ExpectedTurn* warmest = nullptr;
    const ExpectedTurn* coldest = nullptr;
  };
  std::map<int, Fails> lines;
  for (const ExpectedTurn& turn : e.turns) {
    if (turn.works()) continue;
    Fails& at = lines[turn.line];
    if (!at.warmest || turn.temp_c > at.warmest->temp_c) at.warmest = &turn;
    if (!at.coldest || turn.temp_c < at.coldest->temp_c) at.coldest = &turn;
  }
  std::string out;
  for (const auto& [line, at] : lines)
    out += "Line " + std::to_string(line) + " as designed, from " + fixed(at.warmest->temp_c, 0) + " C down: " + verdict(*at.warmest) + ". At " +
           fixed(at.coldest->temp_c, 0) + " C " + remedy(*at.coldest) + ".\n";
  return out;
}

}  // namespace

tl::expected<std::vector<NamedDesign>, std::string> read_designs(std::string_view text) {
  try {
    const Json json = Json::parse(text);
    std::vector<NamedDesign> out;
    for (const Json& station : json.at("stations")) out.push_back(design_of(station));
    if (out.empty()) return tl::unexpected(std::string("it holds no stations"));
    return out;
  } catch (const nlohmann::json::exception& why) {
    return tl::unexpected(std::string(why.what()));
  }
}

std::string expectation_table(const NamedDesign& station, const Expectation& e) {
  std::string out = station.name + "\n";
  if (!e.missing.empty()) return out + "  nothing can be said: not known are " + list(e.missing) + "\n";
  out += "  line   temp  to pressure  plateau  at   pump   loss  floor   vent  longest\n"
         "            C            s        s  bar  cm3/min  bar    bar      s        m\n";
  for (const ExpectedTurn& t : e.turns)
    out += right(std::to_string(t.line), 6) + right(fixed(t.temp_c, 0), 7) + right(or_dash(t.time_to_pressure_s, 0), 13) + right(fixed(t.plateau_s, 0), 9) +
           right(fixed(t.plateau_bar, 0), 5) + right(fixed(t.delivery_cm3_min, 1), 7) + right(fixed(t.flow_drop_bar, 0), 7) +
           right(fixed(t.residual_floor_bar, 1), 7) + right(or_dash(t.vent_s, 0), 7) + right(fixed(t.longest_line_m, 1), 9) + "  " + verdict(t) + "\n";
  out += "  with target " + fixed(e.target_bar, 0) + " bar, pump limit " + fixed(e.pump_limit_s, 0) + " s, residual limit " + fixed(e.residual_bar, 0) + " bar\n";
  if (!e.assumed.empty()) out += "  assumed, as nothing was given: " + list(e.assumed) + "\n";
  return out + winter_words(e);
}

std::string expectation_json(const NamedDesign& station, const Expectation& e) {
  Json turns = Json::array();
  const auto or_null = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
  for (const ExpectedTurn& t : e.turns)
    turns.push_back({{"line", t.line}, {"temp_c", t.temp_c}, {"time_to_pressure_s", or_null(t.time_to_pressure_s)}, {"plateau_s", t.plateau_s},
                     {"plateau_bar", t.plateau_bar}, {"delivery_cm3_min", t.delivery_cm3_min}, {"flow_drop_bar", t.flow_drop_bar}, {"residual_floor_bar", t.residual_floor_bar},
                     {"vent_s", or_null(t.vent_s)}, {"longest_line_m", t.longest_line_m}, {"works", t.works()}, {"verdict", verdict(t)}});
  return Json{{"station", station.name}, {"target_bar", e.target_bar}, {"pump_limit_s", e.pump_limit_s}, {"residual_bar", e.residual_bar}, {"turns", turns}, {"missing", e.missing}, {"assumed", e.assumed}}.dump();
}

}  // namespace driftline
