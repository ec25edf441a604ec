#include "gateway/app/trial/bench_answer.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "gateway/app/trial/report.h"
#include "rules/records/names.h"

namespace driftline::trial {
namespace {

using Json = nlohmann::ordered_json;

double rounded(double value) { return std::round(value * 1000) / 1000; }

const char* figure_of(Condition condition) {
  switch (drawn_as(condition)) {
    case Condition::slow_vent: return "vent_s";
    case Condition::residual_pressure: return "residual_bar";
    case Condition::peak_shift: return "peak_bar";
    default: return "time_to_pressure_s";
  }
}

// Of each stretch of turns the one that is farthest from the usual: a peak is not thinned away.
Json columns(const std::vector<FigurePoint>& points) {
  Json out{{"start_ms", Json::array()}, {"value", Json::array()}, {"usual", Json::array()}};
  const std::size_t stride = points.size() / bench_points_max + 1;
  for (std::size_t begin = 0; begin < points.size(); begin += stride) {
    const auto end = points.begin() + static_cast<std::ptrdiff_t>(std::min(begin + stride, points.size()));
    const auto far = std::max_element(points.begin() + static_cast<std::ptrdiff_t>(begin), end, [](const FigurePoint& a, const FigurePoint& b) {
      return std::abs(a.value - a.usual) < std::abs(b.value - b.usual);
    });
    out["start_ms"].push_back(far->start_ms);
    out["value"].push_back(rounded(double{far->value}));
    out["usual"].push_back(rounded(double{far->usual}));
  }
  return out;
}

Json or_null(const std::optional<int>& value) { return value ? Json(*value) : Json(nullptr); }
Json or_null(const std::optional<Time>& value) { return value ? Json(ms_since_1970(*value)) : Json(nullptr); }

Json price_json(const std::optional<Price>& price) {
  if (!price) return nullptr;
  return {{"false_a_year", rounded(price->false_a_year)}, {"by_run_length", rounded(price->by_run_length)}, {"lead_days", rounded(price->lead_days)},
          {"lead_days_low", rounded(price->lead_days_low)}};
}

Json episodes_json(const std::vector<Episode>& episodes, Condition condition) {
  Json list = Json::array();
  for (const Episode& e : episodes)
    if (e.condition == condition)
      list.push_back({{"line", or_null(e.line)}, {"urgency", name_of(e.urgency)}, {"raised_ms", ms_since_1970(e.raised)}, {"cleared_ms", or_null(e.cleared)},
                      {"lead_days", e.trouble ? Json(rounded(e.lead_days)) : Json(nullptr)}});
  return list;
}

void add_turns(Json& out, const BenchStation& station, Condition condition) {
  if (const auto figures = station.figures.find(drawn_as(condition)); figures != station.figures.end())
    for (const auto& [line, points] : figures->second) {
      Json one = columns(points);
      one["line"] = line;
      out["lines"].push_back(std::move(one));
    }
  for (const Trouble& t : station.heard.troubles)
    out["troubles"].push_back({{"at_ms", ms_since_1970(t.at)}, {"line", or_null(t.line)}, {"kind", name_of(t.kind)}, {"note", t.note}});
}

// What one set of thresholds comes to. `result` is empty for those in force.
Json set_json(const std::string& name, const std::vector<Episode>& episodes, const CandidateResult* result, const Thresholds& thresholds, Condition condition,
              Pricing& pricing) {
  Json warnings = episodes_json(episodes, condition);
  Json gone = Json::array();
  if (result != nullptr) {
    std::size_t told = 0;
    for (std::size_t e = 0; e < episodes.size(); ++e)
      if (episodes[e].condition == condition) warnings[told++]["difference"] = name_of(result->differences[e]);
    gone = episodes_json(result->gone, condition);
  }
  return {{"name", name}, {"warnings", std::move(warnings)}, {"gone", std::move(gone)}, {"all_warnings", episodes.size()},
          {"price", price_json(pricing.of(condition, thresholds))}, {"false_a_year", rounded(pricing.false_together(thresholds))}};
}

Json curve_json(const Range& range, const BenchStation& station, Condition condition, Pricing& pricing) {
  const Contexts in_force{{station.id, station.in_force}};
  std::vector<ConfigProblem> problems;
  Json steps = Json::array();
  std::vector<std::pair<CurvePoint2, std::size_t>> points;
  for (const double value : range.values) {
    const auto candidate = candidate_of_text(patch_text(range.name, value), "value", in_force, problems);
    const auto price = candidate ? pricing.of(condition, candidate->contexts.at(station.id).thresholds) : std::nullopt;
    if (!price) continue;
    points.push_back({{price->false_a_year, price->lead_days}, steps.size()});
    Json step = price_json(price);
    step["value"] = value;
    steps.push_back(std::move(step));
  }
  std::stable_sort(points.begin(), points.end(), [](const auto& a, const auto& b) { return a.first.cost < b.first.cost; });
  std::vector<CurvePoint2> in_order;
  for (const auto& point : points) in_order.push_back(point.first);
  const auto knee = knee_of(in_order);
  return {{"threshold", range.name}, {"steps", std::move(steps)}, {"knee", knee ? Json(points[*knee].second) : Json(nullptr)}};
}

}  // namespace

std::string bench_answer(const BenchStation& station, const Question& question, const std::vector<CandidateResult>& results) {
  const Condition condition = question.condition;
  Pricing pricing(station.heard.noise, station.in_force.thresholds, {.fault_days = 30, .beginnings = 24});
  Json out{{"site", station.id.site}, {"station", station.id.station}, {"condition", name_of(condition)}, {"figure", figure_of(condition)},
           {"until_ms", ms_since_1970(station.until)}, {"turns", station.heard.turns}, {"noise_days", rounded(station.heard.noise.days())},
           {"lines", Json::array()}, {"troubles", Json::array()}, {"sets", Json::array()}, {"curve", nullptr}};
  if (!question.brief) add_turns(out, station, condition);
  out["sets"].push_back(set_json("in force", station.episodes, nullptr, station.in_force.thresholds, condition, pricing));
  for (std::size_t i = 0; i < results.size(); ++i)
    out["sets"].push_back(set_json(question.candidates[i].name, results[i].episodes, &results[i],
                                   question.candidates[i].contexts.at(station.id).thresholds, condition, pricing));
  if (question.range) out["curve"] = curve_json(*question.range, station, condition, pricing);
  return out.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace driftline::trial
