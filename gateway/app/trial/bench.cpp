#include "gateway/app/trial/bench.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "gateway/app/trial/candidates.h"
#include "gateway/app/trial/material.h"
#include "gateway/app/trial/parallel.h"
#include "gateway/app/trial/play.h"
#include "gateway/app/trial/report.h"
#include "rules/records/names.h"

namespace driftline::trial {
namespace {

using Json = nlohmann::ordered_json;

struct FigurePoint {
  std::int64_t start_ms = 0;
  float value = 0;  // in the figure's own unit
  float usual = 0;
};
using Figures = std::map<Condition, std::map<int, std::vector<FigurePoint>>>;

double rounded(double value) { return std::round(value * 1000) / 1000; }

void add_point(Figures& figures, Condition condition, const HalfCycle& turn, const std::optional<rules::ChartedFigure>& charted, bool logarithm, double scale) {
  if (!charted || !charted->learnt) return;
  const auto shown = [&](double y) { return static_cast<float>((logarithm ? std::exp(y) : y) * scale); };
  figures[condition][turn.line].push_back({ms_since_1970(turn.pump_start), shown(charted->y), shown(charted->expected.value)});
}

void add_points(Figures& figures, const HalfCycle& turn, const rules::TurnFigures& f) {
  add_point(figures, Condition::slow_to_pressure, turn, f.time, true, 1);
  add_point(figures, Condition::slow_vent, turn, f.vent, true, 1);
  add_point(figures, Condition::residual_pressure, turn, f.residual, false, f.residual_limit_bar);
  add_point(figures, Condition::peak_shift, turn, f.peak, true, turn.settings.target_bar.value_or(1));
}

Condition drawn_as(Condition condition) {
  switch (condition) {
    case Condition::slow_vent:
    case Condition::residual_pressure:
    case Condition::peak_shift: return condition;
    default: return Condition::slow_to_pressure;
  }
}

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

struct Question {
  Condition condition = Condition::slow_to_pressure;
  std::vector<Candidate> candidates;
  std::optional<Range> range;
};

tl::expected<Question, std::string> read_question(std::string_view text, const Contexts& in_force) {
  const auto json = nlohmann::json::parse(text, nullptr, false);
  if (!json.is_object()) return tl::unexpected(std::string("the question is no JSON object"));
  Question question;
  for (const auto& [key, value] : json.items()) {
    if (key == "condition") {
      const auto condition = value.is_string() ? condition_named(value.get<std::string>()) : std::nullopt;
      if (!condition) return tl::unexpected(std::string("condition: no such condition; right would be \"slow-to-pressure\""));
      question.condition = *condition;
    } else if (key == "vary") {
      auto range = value.is_string() ? range_of(value.get<std::string>()) : tl::expected<Range, std::string>(tl::unexpected(std::string("vary is text")));
      if (!range) return tl::unexpected(range.error());
      question.range = std::move(*range);
    } else if (key == "candidates") {
      if (!value.is_array() || value.size() > bench_candidates_max) return tl::unexpected("candidates: a list of at most " + std::to_string(bench_candidates_max));
      for (const auto& one : value) {
        if (!one.is_object() || !one.contains("thresholds")) return tl::unexpected(std::string("a candidate is an object with \"thresholds\""));
        const std::string name = one.contains("name") && one["name"].is_string() ? one["name"].get<std::string>() : "candidate";
        std::vector<ConfigProblem> problems;
        auto candidate = candidate_of_text(one["thresholds"].dump(), name, in_force, problems);
        if (!candidate) return tl::unexpected(text_of(problems.front()));
        question.candidates.push_back(std::move(*candidate));
      }
    } else {
      return tl::unexpected("\"" + key + "\" is not known here; right would be \"condition\", \"candidates\" or \"vary\"");
    }
  }
  return question;
}

std::vector<Episode> episodes_of_steps(const StationId& id, std::vector<fold::Step> steps, const std::vector<Trouble>& troubles, Time until) {
  std::map<std::string, std::vector<fold::Step>> alone;
  alone[id.station] = std::move(steps);
  auto episodes = episodes_of(play_site(id.site, std::move(alone), until).warnings, time_from_ms(0));
  match_troubles(episodes, troubles);
  return episodes;
}

Json episodes_json(const std::vector<Episode>& episodes, Condition condition) {
  Json list = Json::array();
  for (const Episode& e : episodes)
    if (e.condition == condition)
      list.push_back({{"line", or_null(e.line)}, {"urgency", name_of(e.urgency)}, {"raised_ms", ms_since_1970(e.raised)}, {"cleared_ms", or_null(e.cleared)},
                      {"lead_days", e.trouble ? Json(rounded(e.lead_days)) : Json(nullptr)}});
  return list;
}

}  // namespace

struct Bench::Kept {
  StationId id;
  rules::StationContext in_force;
  std::chrono::nanoseconds read_at{};
  Time until{};
  std::shared_ptr<const history::FedTape> tape;
  Listened heard;
  Figures figures;
  std::vector<Episode> episodes;
};

tl::expected<std::shared_ptr<const Bench::Kept>, std::string> Bench::kept(const StationId& station, std::chrono::nanoseconds steady) {
  const rules::StationContext in_force = in_force_(station);
  {
    const std::lock_guard guard(mutex_);
    for (auto at = recent_.begin(); at != recent_.end(); ++at) {
      if ((*at)->id != station) continue;
      if (steady - (*at)->read_at > bench_fresh_for || !((*at)->in_force == in_force)) {
        recent_.erase(at);
        break;
      }
      recent_.splice(recent_.begin(), recent_, at);
      return recent_.front();
    }
  }
  const auto material = material_of_history(file_, {station}, std::nullopt);
  if (!material) return tl::unexpected(material.error());
  auto tape = material->tape(station);
  if (!tape) return tl::unexpected(tape.error());
  auto now = std::make_shared<Kept>();
  now->id = station;
  now->in_force = in_force;
  now->read_at = steady;
  now->until = material->until;
  now->tape = std::move(*tape);
  now->heard = listen(*now->tape, in_force, time_from_ms(0), now->until,
                      [&](const HalfCycle& turn, const rules::TurnFigures& figures) { add_points(now->figures, turn, figures); });
  now->episodes = episodes_of_steps(station, std::move(now->heard.steps), now->heard.troubles, now->until);
  now->heard.noise.leave_out(not_noise(now->heard.troubles, now->episodes, now->until));
  const std::lock_guard guard(mutex_);
  recent_.push_front(now);
  if (recent_.size() > bench_stations_kept) recent_.pop_back();
  return std::shared_ptr<const Kept>(now);
}

tl::expected<std::string, std::string> Bench::answer(const StationId& station, std::string_view question_text, std::chrono::nanoseconds steady) {
  const auto kept_station = kept(station, steady);
  if (!kept_station) return tl::unexpected(kept_station.error());
  const Kept& now = **kept_station;
  const Contexts in_force{{station, now.in_force}};
  const auto question = read_question(question_text, in_force);
  if (!question) return tl::unexpected(question.error());

  std::vector<CandidateResult> results(question->candidates.size());
  in_parallel(results.size(), static_cast<int>(results.size()), [&](std::size_t i) {
    results[i].episodes = episodes_of_steps(station, play(*now.tape, question->candidates[i].contexts.at(station), now.until), now.heard.troubles, now.until);
    compare(results[i], now.episodes);
  });

  Pricing pricing(now.heard.noise, now.in_force.thresholds, {.fault_days = 30, .beginnings = 24});
  const Condition condition = question->condition;
  Json out{{"site", station.site}, {"station", station.station}, {"condition", name_of(condition)}, {"figure", figure_of(condition)},
           {"until_ms", ms_since_1970(now.until)}, {"turns", now.heard.turns}, {"noise_days", rounded(now.heard.noise.days())}, {"lines", Json::array()},
           {"troubles", Json::array()}, {"sets", Json::array()}, {"curve", nullptr}};
  if (const auto figures = now.figures.find(drawn_as(condition)); figures != now.figures.end())
    for (const auto& [line, points] : figures->second) {
      Json one = columns(points);
      one["line"] = line;
      out["lines"].push_back(std::move(one));
    }
  for (const Trouble& t : now.heard.troubles)
    out["troubles"].push_back({{"at_ms", ms_since_1970(t.at)}, {"line", or_null(t.line)}, {"kind", name_of(t.kind)}, {"note", t.note}});
  out["sets"].push_back({{"name", "in force"}, {"warnings", episodes_json(now.episodes, condition)}, {"gone", Json::array()},
                         {"all_warnings", now.episodes.size()}, {"price", price_json(pricing.of(condition, now.in_force.thresholds))},
                         {"false_a_year", rounded(pricing.false_together(now.in_force.thresholds))}});
  for (std::size_t i = 0; i < results.size(); ++i) {
    const Thresholds& thresholds = question->candidates[i].contexts.at(station).thresholds;
    Json warnings = episodes_json(results[i].episodes, condition);
    std::size_t told = 0;
    for (std::size_t e = 0; e < results[i].episodes.size(); ++e)
      if (results[i].episodes[e].condition == condition) warnings[told++]["difference"] = name_of(results[i].differences[e]);
    out["sets"].push_back({{"name", question->candidates[i].name}, {"warnings", std::move(warnings)}, {"gone", episodes_json(results[i].gone, condition)},
                           {"all_warnings", results[i].episodes.size()}, {"price", price_json(pricing.of(condition, thresholds))},
                           {"false_a_year", rounded(pricing.false_together(thresholds))}});
  }
  if (question->range) {
    std::vector<ConfigProblem> problems;
    Json steps = Json::array();
    std::vector<std::pair<CurvePoint2, std::size_t>> points;
    for (const double value : question->range->values) {
      const auto candidate = candidate_of_text(patch_text(question->range->name, value), "value", in_force, problems);
      const auto price = candidate ? pricing.of(condition, candidate->contexts.at(station).thresholds) : std::nullopt;
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
    out["curve"] = {{"threshold", question->range->name}, {"steps", std::move(steps)}, {"knee", knee ? Json(points[*knee].second) : Json(nullptr)}};
  }
  return out.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace driftline::trial
