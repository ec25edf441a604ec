#include "gateway/app/trial/bench_question.h"

#include <nlohmann/json.hpp>

#include "rules/records/names.h"

namespace driftline::trial {
namespace {

tl::expected<std::vector<Candidate>, std::string> read_candidates(const nlohmann::json& list, const Contexts& in_force) {
  if (!list.is_array() || list.size() > bench_candidates_max) return tl::unexpected("candidates: a list of at most " + std::to_string(bench_candidates_max));
  std::vector<Candidate> candidates;
  for (const auto& one : list) {
    if (!one.is_object() || !one.contains("thresholds")) return tl::unexpected(std::string("a candidate is an object with \"thresholds\""));
    const std::string name = one.contains("name") && one["name"].is_string() ? one["name"].get<std::string>() : "candidate";
    std::vector<ConfigProblem> problems;
    auto candidate = candidate_of_text(one["thresholds"].dump(), name, in_force, problems);
    if (!candidate) return tl::unexpected(text_of(problems.front()));
    candidates.push_back(std::move(*candidate));
  }
  return candidates;
}

}  // namespace

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
    } else if (key == "brief") {
      if (!value.is_boolean()) return tl::unexpected(std::string("brief: right would be true or false"));
      question.brief = value.get<bool>();
    } else if (key == "candidates") {
      auto candidates = read_candidates(value, in_force);
      if (!candidates) return tl::unexpected(candidates.error());
      question.candidates = std::move(*candidates);
    } else {
      return tl::unexpected("\"" + key + "\" is not known here; right would be \"condition\", \"candidates\", \"vary\" or \"brief\"");
    }
  }
  return question;
}

}  // namespace driftline::trial
