#include "gateway/app/trial/candidates.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "gateway/app/config_json.h"
#include "gateway/app/config_schema.h"
#include "gateway/app/thresholds_json.h"
#include "rules/records/names.h"

namespace driftline::trial {
namespace {

constexpr int values_usual = 9;
constexpr int values_most = 60;

std::optional<double> number(std::string_view text) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

// As a person writes it: three significant digits.
double rounded(double value) {
  if (value == 0) return 0;
  char text[32];
  std::snprintf(text, sizeof text, "%.3g", value);
  return number(text).value_or(value);
}

Candidate with(const Json& patch, const std::string& name, const Contexts& in_force, const std::string& file,
               std::vector<ConfigProblem>& problems) {
  Candidate candidate{name, in_force};
  for (auto& [id, context] : candidate.contexts) {
    Json document = document_of(context.thresholds);
    document.merge_patch(completed(patch));
    context.thresholds = thresholds_of(document);
    for (ConfigProblem& problem : contradictions_in(context.thresholds)) {
      problem.file = file;
      problem.why += " (for " + id.site + "/" + id.station + ", with what is in force)";
      if (problems.size() < 20) problems.push_back(std::move(problem));
    }
  }
  return candidate;
}

}  // namespace

std::optional<Candidate> candidate_of_text(std::string_view text, const std::string& name, const Contexts& in_force,
                                           std::vector<ConfigProblem>& problems) {
  const std::size_t before = problems.size();
  const auto patch = read_json_text(text, name, problems);
  if (!patch) return std::nullopt;
  check_schema(ConfigSchema::thresholds, *patch, name, "", problems);
  if (problems.size() > before) return std::nullopt;
  Candidate candidate = with(*patch, name, in_force, name, problems);
  if (problems.size() > before) return std::nullopt;
  return candidate;
}

std::optional<Candidate> candidate_of_file(const std::string& path, const Contexts& in_force, std::vector<ConfigProblem>& problems) {
  std::ifstream file(path, std::ios::binary);
  if (!file.is_open()) {
    problems.push_back({path, "", "it cannot be read", "a file with thresholds, as rules.json is one"});
    return std::nullopt;
  }
  std::ostringstream text;
  text << file.rdbuf();
  auto candidate = candidate_of_text(text.str(), path, in_force, problems);
  if (candidate) candidate->name = std::filesystem::path(path).stem().string();
  return candidate;
}

tl::expected<Range, std::string> range_of(std::string_view text) {
  const std::string right = "right would be: slow-to-pressure/smallest_shift_pct=1..8, or plan_days=7..28:4";
  const std::size_t equals = text.find('=');
  const std::size_t dots = text.find("..");
  if (equals == std::string_view::npos || dots == std::string_view::npos || dots < equals)
    return tl::unexpected("\"" + std::string(text) + "\" is no range of a threshold; " + right);
  Range range;
  range.name = std::string(text.substr(0, equals));
  const auto names = threshold_names();
  const auto known = [&](const std::string& name) { return std::find(names.begin(), names.end(), name) != names.end(); };
  if (!known(range.name)) range.name = "conditions/" + range.name;
  if (!known(range.name) || range.name.ends_with("/watched"))
    return tl::unexpected("\"" + std::string(text.substr(0, equals)) + "\" is no threshold with a number; " + right);
  std::string_view to = text.substr(dots + 2);
  int count = values_usual;
  if (const std::size_t colon = to.find(':'); colon != std::string_view::npos) {
    const auto given = number(to.substr(colon + 1));
    if (!given || *given < 2 || *given > values_most || *given != std::floor(*given))
      return tl::unexpected("the number of values is a whole number from 2 to " + std::to_string(values_most) + "; " + right);
    count = static_cast<int>(*given);
    to = to.substr(0, colon);
  }
  const auto low = number(text.substr(equals + 1, dots - equals - 1));
  const auto high = number(to);
  if (!low || !high || !(*low < *high)) return tl::unexpected("the range goes from a lower to a higher number; " + right);
  const bool ratios = *low > 0 && *high / *low > 4;
  for (int i = 0; i < count; ++i) {
    const double share = static_cast<double>(i) / (count - 1);
    const double value = ratios ? *low * std::pow(*high / *low, share) : *low + (*high - *low) * share;
    const double as_written = i == 0 ? *low : i + 1 == count ? *high : rounded(value);
    range.values.push_back(range.name == "turns_to_learn" ? std::round(as_written) : as_written);
  }
  return range;
}

std::string patch_text(const std::string& name, double value) {
  Json patch = std::trunc(value) == value && std::abs(value) < 1e15 ? Json(static_cast<std::int64_t>(value)) : Json(value);
  std::string rest = name;
  while (!rest.empty()) {
    const std::size_t slash = rest.rfind('/');
    patch = Json{{slash == std::string::npos ? rest : rest.substr(slash + 1), patch}};
    rest = slash == std::string::npos ? "" : rest.substr(0, slash);
  }
  return patch.dump();
}

std::vector<Candidate> candidates_of(const Range& range, const Contexts& in_force, std::vector<ConfigProblem>& problems) {
  std::vector<Candidate> all;
  const std::string shown = range.name.starts_with("conditions/") ? range.name.substr(11) : range.name;
  for (const double value : range.values)
    if (auto candidate = candidate_of_text(patch_text(range.name, value), shown + "=" + Json(value).dump(), in_force, problems))
      all.push_back(std::move(*candidate));
  return all;
}

}  // namespace driftline::trial
