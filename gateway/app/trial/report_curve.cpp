#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>

#include "gateway/app/trial/report.h"
#include "rules/records/names.h"

namespace driftline::trial {
namespace {

constexpr double least_drawn = 0.001;  // false warnings a year

std::string fixed(double value, int digits) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", digits, value);
  return text;
}
std::string shortly(double value) {
  char text[64];
  std::snprintf(text, sizeof text, "%.4g", value);
  return text;
}
std::string right(const std::string& text, std::size_t width) {
  return text.size() >= width ? " " + text : std::string(width - text.size(), ' ') + text;
}

std::optional<Condition> condition_of(const std::string& name) {
  constexpr std::string_view head = "conditions/";
  if (!name.starts_with(head)) return std::nullopt;
  return condition_named(std::string_view(name).substr(head.size(), name.rfind('/') - head.size()));
}

void add_price(CurveStep& step, const Price& price) {
  step.false_a_year += price.false_a_year;
  step.by_run_length += price.by_run_length;
}

CurveStep step_of(const TrialReport& report, std::size_t candidate, double value, std::optional<Condition> condition) {
  CurveStep step;
  step.value = value;
  step.candidate = candidate;
  const Condition leading = condition.value_or(Condition::slow_to_pressure);
  double stations = 0;
  for (const StationResult& station : report.stations) {
    if (candidate >= station.candidates.size()) continue;
    const CandidateResult& result = station.candidates[candidate];
    step.before_trouble += result.before_trouble();
    step.warnings += static_cast<int>(result.episodes.size());
    const auto lead = result.prices.find(leading);
    if (lead == result.prices.end()) continue;
    stations += 1;
    step.lead_days += lead->second.lead_days;
    step.lead_days_low += lead->second.lead_days_low;
    if (!condition) step.false_a_year += result.false_a_year;
    for (const auto& [of, price] : result.prices)
      if (condition && (of == *condition || (*condition == Condition::slow_to_pressure && of == Condition::quick_to_pressure))) add_price(step, price);
  }
  if (stations > 0)
    for (double* sum : {&step.false_a_year, &step.by_run_length, &step.lead_days, &step.lead_days_low}) *sum /= stations;
  return step;
}

// Even steps of the logarithm.
double across(double cost, double low, double high) { return (std::log(std::max(cost, least_drawn)) - std::log(low)) / (std::log(high) - std::log(low)); }

}  // namespace

PriceCurve curve_of(const TrialReport& report, const Range& range, std::size_t first) {
  PriceCurve curve;
  curve.name = range.name;
  const auto condition = condition_of(range.name);
  for (std::size_t i = 0; i < range.values.size(); ++i) curve.steps.push_back(step_of(report, first + i, range.values[i], condition));
  curve.in_force = step_of(report, 0, 0, condition);
  std::vector<std::size_t> order(curve.steps.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return curve.steps[a].false_a_year < curve.steps[b].false_a_year; });
  std::vector<CurvePoint2> points;
  for (const std::size_t i : order) points.push_back({curve.steps[i].false_a_year, curve.steps[i].lead_days});
  if (const auto knee = knee_of(points)) curve.knee = order[*knee];
  return curve;
}

std::string curve_table(const PriceCurve& curve) {
  std::string out = "\n" + curve.name + ", means over the stations\n" +
                    "       value   false/year  run length    lead days (9 of 10)  warnings  before trouble\n";
  const auto row = [](const CurveStep& s, const std::string& value, const std::string& mark) {
    return right(value, 12) + right(s.false_a_year < least_drawn ? "< 0.01" : fixed(s.false_a_year, 2), 13) + right(fixed(s.by_run_length, 2), 12) +
           right(fixed(s.lead_days, 1), 13) + right("(" + fixed(s.lead_days_low, 1) + ")", 9) + right(std::to_string(s.warnings), 9) +
           right(std::to_string(s.before_trouble), 16) + mark + "\n";
  };
  for (std::size_t i = 0; i < curve.steps.size(); ++i)
    out += row(curve.steps[i], shortly(curve.steps[i].value), curve.knee == i ? "  <- knee: beyond it lead costs much" : "");
  if (curve.in_force) out += row(*curve.in_force, "in force", "");
  return out;
}

std::string curve_svg(const PriceCurve& curve) {
  double low = 1e9;
  double high = least_drawn;
  double top = 1;
  std::vector<const CurveStep*> steps;
  for (const CurveStep& step : curve.steps) steps.push_back(&step);
  std::stable_sort(steps.begin(), steps.end(), [](const CurveStep* a, const CurveStep* b) { return a->false_a_year < b->false_a_year; });
  std::vector<const CurveStep*> all = steps;
  if (curve.in_force) all.push_back(&*curve.in_force);
  for (const CurveStep* step : all) {
    low = std::min(low, std::max(step->false_a_year, least_drawn));
    high = std::max(high, step->false_a_year);
    top = std::max(top, step->lead_days * 1.1);
  }
  if (high < low * 1.1) high = low * 10;
  const auto x = [&](double cost) { return fixed(70 + 540 * across(cost, low, high), 1); };
  const auto y = [&](double lead) { return fixed(330 - 280 * lead / top, 1); };
  std::string out = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 660 390\" font-family=\"sans-serif\" font-size=\"12\">\n<title>" +
                    curve.name + ": days of lead against false warnings a year</title>\n<rect width=\"660\" height=\"390\" fill=\"#fff\"/>\n" +
                    "<text x=\"70\" y=\"24\">" + curve.name + ": days of lead against false warnings a year and station</text>\n" +
                    "<path d=\"M70 44V330H620\" fill=\"none\" stroke=\"#555\"/>\n";
  for (double at = 0.001; at <= high * 1.001; at *= 10)
    if (at >= low * 0.999) out += "<text x=\"" + x(at) + "\" y=\"348\" text-anchor=\"middle\">" + shortly(at) + "</text>\n";
  const double grid = top > 20 ? 10 : top > 8 ? 5 : 1;
  for (double lead = 0; lead <= top; lead += grid) out += "<text x=\"62\" y=\"" + y(lead) + "\" text-anchor=\"end\">" + fixed(lead, 0) + "</text>\n";
  std::string points;
  for (const CurveStep* step : steps) points += x(step->false_a_year) + "," + y(step->lead_days) + " ";
  out += "<polyline fill=\"none\" stroke=\"#0b62a4\" stroke-width=\"2\" points=\"" + points + "\"/>\n";
  for (std::size_t i = 0; i < curve.steps.size(); ++i) {
    const CurveStep& step = curve.steps[i];
    const bool knee = curve.knee == i;
    out += "<circle cx=\"" + x(step.false_a_year) + "\" cy=\"" + y(step.lead_days) + "\" r=\"" + (knee ? "7" : "4") + "\" fill=\"" + (knee ? "#b3541e" : "#0b62a4") +
           "\"><title>" + shortly(step.value) + (knee ? ", knee" : "") + "</title></circle>\n" + "<text x=\"" + x(step.false_a_year) + "\" y=\"" +
           fixed(318 - 280 * step.lead_days / top, 1) + "\" text-anchor=\"middle\">" + shortly(step.value) + (knee ? " (knee)" : "") + "</text>\n";
  }
  if (curve.in_force)
    out += "<rect x=\"" + fixed(65 + 540 * across(curve.in_force->false_a_year, low, high), 1) + "\" y=\"" + fixed(325 - 280 * curve.in_force->lead_days / top, 1) +
           "\" width=\"10\" height=\"10\" fill=\"none\" stroke=\"#333\" stroke-width=\"2\"><title>in force</title></rect>\n";
  return out + "<text x=\"345\" y=\"370\" text-anchor=\"middle\">false warnings a year and station (logarithm); square: in force</text>\n</svg>\n";
}

}  // namespace driftline::trial
