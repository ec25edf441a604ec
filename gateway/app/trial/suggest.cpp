#include "gateway/app/trial/suggest.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <nlohmann/json.hpp>

#include "gateway/app/trial/parallel.h"
#include "rules/records/names.h"

namespace driftline::trial {
namespace {

constexpr double scatter_ratio_most = 1.5;  // between stations that are called alike
constexpr double station_over_most = 2;     // of its share that one station of a group may cost
constexpr double worth_a_change = 0.02;     // of lead; below it what is in force stays

// Charts whose thresholds can be set, what share of the budget each gets, and the smallest shifts that are looked at, per cent.
struct Adjustable {
  Condition condition;
  double share;
  std::array<double, 7> shifts_pct;
  double usual_pct;
};
// Slow and quick to pressure share a chart, and that is the one that finds leaks and wear: it gets the largest share.
constexpr std::array adjustables{
    Adjustable{Condition::slow_to_pressure, 0.4, {1.5, 2, 2.5, 3, 4, 5, 7}, 2.5},
    Adjustable{Condition::residual_pressure, 0.2, {10, 15, 20, 25, 30, 40, 60}, 20},
    Adjustable{Condition::slow_vent, 0.2, {12, 18, 25, 30, 35, 45, 60}, 28},
    Adjustable{Condition::peak_shift, 0.2, {1.5, 2, 2.5, 3, 4, 5, 7}, 3},
};
constexpr std::array budgets{0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0};  // nominal, of the condition

std::size_t at(Condition condition) { return static_cast<std::size_t>(condition); }

// As it is on the station's first line: one in s or bar is what it is there in per cent, one that nobody set goes with the budget.
double shift_pct(const Thresholds& t, const Adjustable& a, const StationNoise& noise) {
  if (noise.lines.empty()) return t.of(a.condition).smallest_shift.value_or(a.usual_pct);
  const double shift = smallest_shift_of(t, a.condition, noise.lines.begin()->second);
  return std::round(1000 * (a.condition == Condition::residual_pressure ? shift : std::expm1(shift))) / 10;
}

std::string alike_name(const rules::StationContext& context, const Kinds& kinds) {
  if (const auto kind = kinds.find(context.id); kind != kinds.end() && !kind->second.empty()) return "kind " + kind->second;
  const ControllerSettings& s = context.design.settings;
  std::string text = s.lines ? std::to_string(*s.lines) + (*s.lines == 1 ? " line" : " lines") : "lines not known";
  if (s.target_bar) text += " to " + std::to_string(static_cast<int>(std::lround(*s.target_bar))) + " bar";
  return text;
}

double scatter_of(const StationNoise& noise) {
  std::vector<double> all;
  for (const auto& [number, line] : noise.lines)
    for (const NoiseTurn& turn : line.of(Figure::time).turns) all.push_back(double{turn.lasting_deviation});
  if (all.empty()) return 0;
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return all[all.size() / 2];
}

struct Group {
  std::string alike;
  std::vector<std::size_t> members;  // indices of the report's stations
};

// Of one name, and then of like scatter: sorted by scatter, a new group where it has grown by the ratio.
std::vector<Group> groups_of(const TrialReport& report, const Contexts& in_force, const Kinds& kinds) {
  std::map<std::string, std::vector<std::size_t>> by_name;
  for (std::size_t i = 0; i < report.stations.size(); ++i) by_name[alike_name(in_force.at(report.stations[i].id), kinds)].push_back(i);
  std::vector<Group> groups;
  for (auto& [name, members] : by_name) {
    std::vector<std::size_t> enough;
    for (const std::size_t i : members) {
      if (report.stations[i].quiet_days >= suggest_days_least)
        enough.push_back(i);
      else
        groups.push_back({name, {i}});
    }
    std::stable_sort(enough.begin(), enough.end(), [&](std::size_t a, std::size_t b) { return scatter_of(report.noise[a]) < scatter_of(report.noise[b]); });
    double first = 0;
    for (const std::size_t i : enough) {
      const double scatter = scatter_of(report.noise[i]);
      if (first == 0 || scatter > scatter_ratio_most * first) {
        groups.push_back({name, {}});
        first = scatter;
      }
      groups.back().members.push_back(i);
    }
  }
  for (Group& group : groups) std::sort(group.members.begin(), group.members.end());
  return groups;
}

struct Mean {
  Price price;
  double worst = 0;  // cost of the dearest station
  bool any = false;
};

class Weighing {
 public:
  Weighing(const TrialReport& report, const Contexts& in_force, const Group& group, const PriceSettings& settings) {
    for (const std::size_t i : group.members) {
      thresholds_.push_back(in_force.at(report.stations[i].id).thresholds);
      pricing_.emplace_back(report.noise[i], thresholds_.back(), settings);
    }
  }

  // Of the condition, its twin on the same chart included.
  Mean of(const Adjustable& a, const std::function<void(ConditionThresholds&)>& change) {
    Mean mean;
    for (std::size_t i = 0; i < pricing_.size(); ++i) {
      Thresholds t = thresholds_[i];
      change(t.conditions[at(a.condition)]);
      const auto price = pricing_[i].of(a.condition, t);
      if (!price) continue;
      mean.any = true;
      double cost = price->false_a_year;
      if (a.condition == Condition::slow_to_pressure)
        if (const auto twin = pricing_[i].of(Condition::quick_to_pressure, t)) cost += twin->false_a_year;
      mean.price.false_a_year += cost;
      mean.price.by_run_length += price->by_run_length;
      mean.price.lead_days += price->lead_days;
      mean.price.lead_days_low += price->lead_days_low;
      mean.worst = std::max(mean.worst, cost);
    }
    const auto n = static_cast<double>(pricing_.size());
    for (double* value : {&mean.price.false_a_year, &mean.price.by_run_length, &mean.price.lead_days, &mean.price.lead_days_low}) *value /= n;
    return mean;
  }
  [[nodiscard]] const Thresholds& first() const { return thresholds_.front(); }

 private:
  std::vector<Thresholds> thresholds_;
  std::vector<Pricing> pricing_;
};

struct Choice {
  Mean mean;
  double shift = 0;
  double budget = 0;
};

// The most lead within the share; the cheapest where nothing is within it.
std::optional<Choice> best_of(Weighing& weighing, const Adjustable& a, double share) {
  std::optional<Choice> best;
  const auto within = [&](const Mean& m) { return m.price.false_a_year <= share && m.worst <= station_over_most * share; };
  for (const double shift : a.shifts_pct) {
    for (const double budget : budgets) {
      const Mean mean = weighing.of(a, [&](ConditionThresholds& c) {
        c.smallest_shift = shift;
        c.smallest_shift_own.reset();
        c.false_warnings_per_year = budget;
      });
      if (!mean.any) return std::nullopt;
      const bool better = !best || (within(mean) != within(best->mean) ? within(mean)
                                    : within(mean) ? mean.price.lead_days > best->mean.price.lead_days
                                                   : mean.price.false_a_year < best->mean.price.false_a_year);
      if (better) best = Choice{mean, shift, budget};
    }
  }
  return best;
}

Suggestion suggest_for(const TrialReport& report, const Contexts& in_force, const Group& group, const SuggestSettings& settings) {
  Suggestion out;
  out.alike = group.alike;
  out.days = report.stations[group.members.front()].quiet_days;
  for (const std::size_t i : group.members) {
    out.stations.push_back(report.stations[i].id);
    out.days = std::min(out.days, report.stations[i].quiet_days);
  }
  if (out.days < suggest_days_least) {
    out.why_none = "not enough history: turns in good order of " + std::to_string(static_cast<int>(out.days)) + " days, " +
                   std::to_string(static_cast<int>(suggest_days_least)) + " are needed";
    return out;
  }
  Weighing weighing(report, in_force, group, settings.price);
  out.budget = settings.budget.value_or(weighing.first().false_warnings_per_year);
  out.meets_budget = true;
  nlohmann::ordered_json patch = nlohmann::ordered_json::object();
  for (const Adjustable& a : adjustables) {
    const double share = a.share * out.budget;
    const Mean now = weighing.of(a, [](ConditionThresholds&) {});
    const auto choice = best_of(weighing, a, share);
    if (!choice) continue;
    Evidence evidence{a.condition, now.price, choice->mean.price, shift_pct(weighing.first(), a, report.noise[group.members.front()]), choice->shift, share};
    const bool now_within = now.price.false_a_year <= share && now.worst <= station_over_most * share;
    if (now_within && choice->mean.price.lead_days <= now.price.lead_days * (1 + worth_a_change)) {
      evidence.then = now.price;
      evidence.shift_then = evidence.shift_now;
    } else {
      auto& condition = patch["conditions"][std::string(name_of(a.condition))];
      condition["false_warnings_per_year"] = choice->budget;
      condition["smallest_shift_pct"] = choice->shift;
    }
    out.meets_budget = out.meets_budget && evidence.then.false_a_year <= share;
    out.false_now += evidence.now.false_a_year;
    out.false_then += evidence.then.false_a_year;
    if (settings.lead_days && a.condition == Condition::slow_to_pressure) out.meets_lead = evidence.then.lead_days >= *settings.lead_days;
    out.evidence.push_back(evidence);
  }
  out.patch = patch.dump();
  if (out.evidence.empty()) out.why_none = "not enough history: no figure of a line has been charted";
  return out;
}

}  // namespace

std::vector<Suggestion> suggest(const TrialReport& report, const Contexts& in_force, const Kinds& kinds, const SuggestSettings& settings) {
  const std::vector<Group> groups = groups_of(report, in_force, kinds);
  std::vector<Suggestion> all(groups.size());
  in_parallel(groups.size(), settings.threads, [&](std::size_t i) { all[i] = suggest_for(report, in_force, groups[i], settings); });
  return all;
}

}  // namespace driftline::trial
