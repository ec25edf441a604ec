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

constexpr double longest_drawn_m = 120;

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

// What stops it first.
std::string verdict(const ExpectedTurn& turn) {
  if (!turn.devices_served) return "does not work: the last devices never open";
  if (!turn.in_time) return "does not work: the pump limit comes first";
  if (!turn.vents) return "does not work: it cannot vent under the residual limit";
  return "works";
}

std::string list(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return out;
}

std::string winter_words(const Expectation& e) {
  std::string out;
  std::map<int, std::pair<double, double>> fails;  // line -> warmest temperature at which it fails, longest line there
  for (const ExpectedTurn& turn : e.turns)
    if (!turn.works()) {
      auto [at, fresh] = fails.try_emplace(turn.line, turn.temp_c, turn.longest_line_m);
      if (!fresh && turn.temp_c > at->second.first) at->second = {turn.temp_c, turn.longest_line_m};
    }
  for (const auto& [line, at] : fails)
    out += "Line " + std::to_string(line) + " as designed does not work at " + fixed(at.first, 0) + " C: " +
           (at.second > 0 ? "at most " + fixed(at.second, 1) + " m would." : "no length would.") +
           " A wider bore, a softer grease, heating or a higher target changes that.\n";
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
  out += "  line   temp  to pressure  plateau  at   loss  floor   vent  longest\n"
         "            C            s        s  bar   bar    bar      s        m\n";
  for (const ExpectedTurn& t : e.turns)
    out += right(std::to_string(t.line), 6) + right(fixed(t.temp_c, 0), 7) + right(or_dash(t.time_to_pressure_s, 0), 13) + right(fixed(t.plateau_s, 0), 9) +
           right(fixed(t.plateau_bar, 0), 5) + right(fixed(t.flow_drop_bar, 0), 6) + right(fixed(t.residual_floor_bar, 1), 7) + right(or_dash(t.vent_s, 0), 7) +
           right(fixed(t.longest_line_m, 1), 9) + "  " + verdict(t) + "\n";
  if (!e.assumed.empty()) out += "  assumed, as nothing was given: " + list(e.assumed) + "\n";
  return out + winter_words(e);
}

std::string expectation_plot(const NamedDesign& station, const Expectation& e) {
  std::string out;
  int line = 0;
  for (const ExpectedTurn& t : e.turns) {
    if (t.line != line) {
      line = t.line;
      out += "  longest line that works, line " + std::to_string(line) + " (| as designed; one mark 2 m)\n";
    }
    const double built = station.design.lines[static_cast<std::size_t>(line - 1)].length_m.value_or(0);
    std::string bar(static_cast<std::size_t>(std::min(longest_drawn_m, t.longest_line_m) / 2), '=');
    const auto mark = static_cast<std::size_t>(std::min(longest_drawn_m, built) / 2);
    if (built > 0) {
      if (bar.size() <= mark) bar.resize(mark + 1, ' ');
      bar[mark] = '|';
    }
    out += right(fixed(t.temp_c, 0), 6) + " C " + bar + "\n";
  }
  return out;
}

std::string expectation_json(const NamedDesign& station, const Expectation& e) {
  Json turns = Json::array();
  const auto or_null = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
  for (const ExpectedTurn& t : e.turns)
    turns.push_back({{"line", t.line}, {"temp_c", t.temp_c}, {"time_to_pressure_s", or_null(t.time_to_pressure_s)}, {"plateau_s", t.plateau_s},
                     {"plateau_bar", t.plateau_bar}, {"flow_drop_bar", t.flow_drop_bar}, {"residual_floor_bar", t.residual_floor_bar},
                     {"vent_s", or_null(t.vent_s)}, {"longest_line_m", t.longest_line_m}, {"works", t.works()}, {"verdict", verdict(t)}});
  return Json{{"station", station.name}, {"turns", turns}, {"missing", e.missing}, {"assumed", e.assumed}}.dump();
}

std::string expectation_svg(const NamedDesign& station, const Expectation& e) {
  if (e.turns.empty()) return {};
  double cold = e.turns[0].temp_c, warm = cold, top = 10;
  for (const ExpectedTurn& t : e.turns) {
    cold = std::min(cold, t.temp_c);
    warm = std::max(warm, t.temp_c);
    top = std::max(top, std::min(longest_drawn_m, t.longest_line_m) * 1.1);
  }
  if (warm <= cold) warm = cold + 1;
  const auto x = [&](double c) { return fixed(60 + 560 * (c - cold) / (warm - cold), 1); };
  const auto y = [&](double m) { return fixed(330 - 290 * std::min(m, top) / top, 1); };
  std::string out = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 660 380\" font-family=\"sans-serif\" font-size=\"12\">\n"
                    "<title>" + station.name + ": longest line that works against temperature</title>\n<rect width=\"660\" height=\"380\" fill=\"#fff\"/>\n";
  out += "<text x=\"60\" y=\"24\">" + station.name + ": longest line that works [m] against temperature [C]; dashed: as designed</text>\n";
  out += "<path d=\"M60 40V330H620\" fill=\"none\" stroke=\"#555\"/>\n";
  for (double m = 0; m <= top; m += top > 60 ? 20 : 10) out += "<text x=\"52\" y=\"" + y(m) + "\" text-anchor=\"end\">" + fixed(m, 0) + "</text>\n";
  std::map<int, std::string> curves;
  for (const ExpectedTurn& t : e.turns) {
    curves[t.line] += x(t.temp_c) + "," + y(t.longest_line_m) + " ";
    if (t.line == e.turns[0].line) out += "<text x=\"" + x(t.temp_c) + "\" y=\"350\" text-anchor=\"middle\">" + fixed(t.temp_c, 0) + "</text>\n";
  }
  static constexpr const char* colours[] = {"#0b62a4", "#b3541e", "#2e7d32", "#6a1b9a"};
  for (const auto& [line, points] : curves) {
    const std::string colour = colours[(line - 1) % 4];
    out += "<polyline fill=\"none\" stroke=\"" + colour + "\" stroke-width=\"2\" points=\"" + points + "\"/>\n";
    const double built = station.design.lines[static_cast<std::size_t>(line - 1)].length_m.value_or(0);
    if (built > 0) out += "<path d=\"M60 " + y(built) + "H620\" stroke=\"" + colour + "\" stroke-dasharray=\"6 4\"/>\n";
    out += "<text x=\"" + std::to_string(60 + 70 * (line - 1)) + "\" y=\"370\" fill=\"" + colour + "\">line " + std::to_string(line) + "</text>\n";
  }
  return out + "</svg>\n";
}

}  // namespace driftline
