// What was seen, in words.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

#include "rules/judgement/evidence.h"

namespace driftline::rules {
namespace {

constexpr double tells = 0.15;    // of the logarithm of the chance: less is not worth a clause
constexpr double is_seen = 0.5;   // a symptom that is likelier than not

std::string number(double value) {
  char text[32];
  const double size = std::abs(value);
  std::snprintf(text, sizeof text, size >= 100 ? "%.0f" : size >= 10 ? "%.1f" : "%.2f", value);
  return text;
}

double rounded(double value) { return std::round(value * 1000) / 1000; }

// The figure behind a symptom, now and as it should be.
struct Figure {
  const char* name = "";
  const char* words = "";
  const char* unit = "";
  double value = 0;
  double usual = 0;
  std::optional<Time> since;
};

std::optional<Figure> charted(const char* name, const char* words, const char* unit, const std::optional<ChartedFigure>& f,
                              const DriftChart& chart, bool logarithm, double scale) {
  if (!f || !f->learnt) return std::nullopt;
  const double shift = shift_of(chart);
  const double usual = logarithm ? std::exp(f->expected.value) : f->expected.value;
  const double value = logarithm ? usual * std::exp(shift) : usual + shift;
  return Figure{name, words, unit, value * scale, usual * scale, shift > 0 ? chart.up.since : chart.down.since};
}

std::optional<Figure> light(const char* name, const char* words, const char* unit, const LightFigure& f, const Weather& weather,
                            bool logarithm) {
  if (f.turns < light_turns_to_learn || f.behind < 1) return std::nullopt;
  const double usual = f.fit.value(light_row(weather));
  const double value = usual + double{f.smooth};
  if (logarithm) return Figure{name, words, unit, std::exp(value), std::exp(usual), std::nullopt};
  return Figure{name, words, unit, value, usual, std::nullopt};
}

std::optional<Figure> figure_of(Symptom symptom, const LineState& line, const TurnFigures& f) {
  switch (symptom) {
    case Symptom::time_to_pressure: return charted("time_to_pressure_s", "the time to pressure", "s", f.time, line.time_chart, true, 1);
    case Symptom::vent: return charted("vent_s", "the vent time", "s", f.vent, line.vent_chart, true, 1);
    case Symptom::residual: return charted("residual_bar", "the residual pressure", "bar", f.residual, line.residual_chart, false, f.residual_limit_bar);
    case Symptom::peak: return charted("peak_bar", "the peak pressure", "bar", f.peak, line.peak_chart, true, f.target_bar.value_or(1));
    case Symptom::plateau_length: return light("plateau_s", "the metering plateau", "s", line.plateau_length, f.weather, true);
    case Symptom::plateau_level: return light("plateau_bar", "the plateau's pressure", "bar", line.plateau_level, f.weather, true);
    case Symptom::steepness: return light("steep_bar_per_s", "the rise after the plateau", "bar/s", line.steepness, f.weather, true);
    case Symptom::soft_start: return light("soft_start_s", "the time before the rise", "s", line.soft_start, f.weather, false);
    case Symptom::run_on: return light("run_on_s", "the time just under the target", "s", line.run_on, f.weather, false);
    case Symptom::others_rise: return light("others_rise_bar", "the resting lines' rise during the turn", "bar", line.others_rise, f.weather, false);
    default: return std::nullopt;
  }
}

std::string words_of(const Figure& f, bool moved) {
  const std::string words = f.words;
  const std::string unit = f.unit;
  if (!moved) return words + " is as usual, " + number(f.usual) + " " + unit;
  std::string text = words + " is " + number(f.value) + " " + unit + ", usual " + number(f.usual);
  if (unit != "bar" && f.usual > 0 && f.value > 0) {
    const double percent = 100 * (f.value / f.usual - 1);
    text.append(percent >= 0 ? " (+" : " (-").append(number(std::abs(percent))).append(" %)");
  }
  return text;
}

// For symptoms that are yes or no; empty where the answer is not worth a clause.
const char* words_of(Symptom symptom, bool yes) {
  switch (symptom) {
    case Symptom::all_lines: return yes ? "the other lines moved by the same factor" : "the other lines did not move with it";
    case Symptom::sudden: return yes ? "it came within a few turns" : "it came gradually";
    case Symptom::not_reached: return yes ? "the target was missed" : "";
    case Symptom::far_below: return yes ? "the pressure stayed far below the target" : "the pressure came close to the target";
    case Symptom::after_low: return yes ? "the reservoir was low, or filled up from low, shortly before" : "";
    case Symptom::after_repair: return yes ? "the line was worked on shortly before" : "";
    case Symptom::cold: return yes ? "it is colder than in the days before" : "it is no colder than in the days before";
    case Symptom::weather_says_so: return yes ? "the line is expected to be this slow at this temperature" : "";
    case Symptom::below_zero: return yes ? "the resting pressure reads below zero" : "";
    case Symptom::one_turn: return yes ? "only this turn shows it" : "";
    case Symptom::working_hours: return yes ? "it came in working hours" : "";
    case Symptom::settings_changed: return yes ? "settings were changed shortly before" : "";
    case Symptom::level_use: return yes ? "turns take another amount of grease than usual" : "turns take as much grease as usual";
    case Symptom::healing: return yes ? "it goes back by itself" : "";
    default: return "";
  }
}

std::optional<EvidenceItem> item_of(Symptom symptom, const Sight& seen, const LineState& line, const TurnFigures& figures) {
  const bool moved = std::max(seen.up, seen.down) > is_seen;
  if (const auto f = figure_of(symptom, line, figures)) {
    EvidenceItem item{f->name, rounded(f->value), rounded(f->usual), moved ? f->since : std::nullopt, words_of(*f, moved)};
    return item;
  }
  const std::string_view words = words_of(symptom, moved);
  if (words.empty()) return std::nullopt;
  return EvidenceItem{"", std::nullopt, std::nullopt, std::nullopt, std::string(words)};
}

std::optional<Symptom> own_symptom(Condition of) {
  switch (of) {
    case Condition::slow_to_pressure:
    case Condition::quick_to_pressure: return Symptom::time_to_pressure;
    case Condition::pressure_not_reached: return Symptom::not_reached;
    case Condition::peak_shift: return Symptom::peak;
    case Condition::residual_pressure: return Symptom::residual;
    case Condition::slow_vent: return Symptom::vent;
    case Condition::doubtful_sensor: return Symptom::below_zero;
    default: return std::nullopt;
  }
}
}  // namespace

std::vector<EvidenceItem> told_evidence(const Evidence& evidence, const std::vector<WeightedCause>& causes, const LineState& line,
                                        const Turn& turn, Condition of) {
  std::vector<EvidenceItem> told;
  const auto own = own_symptom(of);
  const auto tell = [&](Symptom symptom) {
    const auto& seen = evidence[static_cast<std::size_t>(symptom)];
    if (!seen) return;
    if (auto item = item_of(symptom, *seen, line, turn.figures)) told.push_back(std::move(*item));
  };
  if (own) tell(*own);
  if (causes.empty()) return told;
  std::array<std::pair<double, Symptom>, symptom_count> by_weight;
  for (std::size_t s = 0; s < symptom_count; ++s) {
    const auto symptom = static_cast<Symptom>(s);
    by_weight[s] = {own == symptom ? 0 : speaks_for(evidence, symptom, causes[0].cause, causes), symptom};
  }
  std::stable_sort(by_weight.begin(), by_weight.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  for (const auto& [weight, symptom] : by_weight)
    if (weight > tells && told.size() < evidence_max) tell(symptom);
  return told;
}

}  // namespace driftline::rules
