#include "rules/diagnosis/diagnosis.h"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace driftline::rules {
namespace {
constexpr double tempering = 0.8;
constexpr double smallest_weight = 0.03;

struct Row {
  Cause cause;
  double prior;
  std::string_view symptoms;  // one letter each, in the order of Symptom; see chance()
};

// A leak takes grease from the reservoir that a worn pump or a valve that returns it does not.
// U surely up, u often up, m maybe up or not, 0 neither, D surely down, d often down, w maybe down or not, e either way but
// moved, b by chance, z never, l seldom, ? nothing known: as often as other things happen.
//                                                               rise, vent           yes or no
constexpr std::array<Row, 13> table{{
    // ttp vent res peak | plateau len, level, steep, soft, run-on, others | all sudden not-r far low rep cold says zero one work set heal | use
    {Cause::slow_leak, 0.20,               "Uw00" "u?d0" "00" "0mm0mm?0z0?00U"},
    {Cause::line_broken, 0.05,             "?d?D" "?D?0" "00" "0UUUmm?0z0?00U"},
    {Cause::air_in_line, 0.08,             "Um00" "m0dU" "m0" "mum0uu?0z0?0m0"},
    {Cause::stiff_grease, 0.14,            "UUUm" "muud" "m0" "Um?0mmUUz0?0m0"},
    {Cause::pump_worn, 0.12,               "U000" "u0d0" "00" "Ulm0mb?0z0?000"},
    {Cause::relief_leaking, 0.08,          "u00d" "00du" "U0" "Umm0bb?0z0?000"},
    {Cause::changeover_leaking, 0.07,      "U000" "u0d0" "0U" "umm0bb?0z0?000"},
    {Cause::metering_stuck, 0.08,          "D00m" "D000" "00" "mm00bb?0z0?00D"},
    {Cause::line_restricted, 0.08,         "Du0m" "D???" "00" "0m00bb?0z0?00d"},
    {Cause::vent_restricted, 0.07,         "dUU0" "0000" "00" "mm00bb?0z0?000"},
    {Cause::outside_pressure, 0.05,        "d?U0" "dm00" "00" "0U00bb?0zUU000"},
    {Cause::pressure_sensor_drift, 0.06,   "??e?" "0?00" "00" "0m00bb?0m0?000"},
    {Cause::settings_changed, 0.05,        "??me" "0000" "m0" "Uu00bb?0z0?m0?"},
}};
static_assert([] {
  for (const Row& row : table)
    if (row.symptoms.size() != symptom_count) return false;
  return true;
}());

struct Chance {
  double down;
  double none;
  double up;
};

constexpr Chance chance(char letter) {
  switch (letter) {
    case 'U': return {0.008, 0.152, 0.84};
    case 'u': return {0.04, 0.40, 0.56};
    case 'm': return {0.06, 0.64, 0.30};
    case 'D': return {0.84, 0.152, 0.008};
    case 'd': return {0.50, 0.45, 0.05};
    case 'w': return {0.30, 0.64, 0.06};
    case 'e': return {0.40, 0.20, 0.40};
    case 'b': return {0.04, 0.84, 0.12};  // as often as chance has it
    case 'l': return {0.04, 0.84, 0.12};  // seldom
    case 'z': return {0.004, 0.992, 0.004};
    case '?': return {0.12, 0.76, 0.12};
    default: return {0.04, 0.92, 0.04};
  }
}

const Row* row_of(Cause cause) {
  const auto found = std::find_if(table.begin(), table.end(), [&](const Row& row) { return row.cause == cause; });
  return found == table.end() ? nullptr : &*found;
}

double chance_of(const Sight& seen, const Row& row, std::size_t symptom) {
  const Chance c = chance(row.symptoms[symptom]);
  return seen.down * c.down + (1 - seen.down - seen.up) * c.none + seen.up * c.up;
}

double normal_share_below(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }
}  // namespace

Sight sight_of(double shift, double error, double matters_from) {
  const double e = std::max(error, 1e-12);
  return {normal_share_below((-shift - matters_from) / e), normal_share_below((shift - matters_from) / e)};
}

std::vector<WeightedCause> ranked(std::vector<WeightedCause> causes) {
  double sum = 0;
  for (const WeightedCause& c : causes) sum += c.weight;
  if (sum > 0)
    for (WeightedCause& c : causes) c.weight /= sum;
  std::stable_sort(causes.begin(), causes.end(), [](const WeightedCause& a, const WeightedCause& b) {
    return a.weight != b.weight ? a.weight > b.weight : a.cause < b.cause;
  });
  return causes;
}

double speaks_for(const Evidence& evidence, Symptom symptom, Cause cause, const std::vector<WeightedCause>& causes) {
  const auto s = static_cast<std::size_t>(symptom);
  const Row* const row = row_of(cause);
  if (!evidence[s] || row == nullptr) return 0;
  double others = 0;
  double weight = 0;
  for (const WeightedCause& c : causes) {
    const Row* const other = row_of(c.cause);
    if (c.cause == cause || other == nullptr) continue;
    others += c.weight * chance_of(*evidence[s], *other, s);
    weight += c.weight;
  }
  // Where nothing else is left, against all that were thought of.
  if (weight <= 0)
    for (const Row& other : table)
      if (other.cause != cause) {
        others += other.prior * chance_of(*evidence[s], other, s);
        weight += other.prior;
      }
  return std::log(chance_of(*evidence[s], *row, s) * weight / others);
}

std::vector<WeightedCause> diagnose(const Evidence& evidence) {
  std::array<double, table.size()> log_weight{};
  for (std::size_t row = 0; row < table.size(); ++row) {
    double sum = 0;
    for (std::size_t s = 0; s < symptom_count; ++s) {
      if (!evidence[s]) continue;
      sum += std::log(chance_of(*evidence[s], table[row], s));
    }
    log_weight[row] = std::log(table[row].prior) + tempering * sum;
  }
  const double best = *std::max_element(log_weight.begin(), log_weight.end());
  double total = 0;
  for (double& w : log_weight) total += (w = std::exp(w - best));
  std::vector<WeightedCause> causes;
  for (std::size_t row = 0; row < table.size(); ++row)
    if (log_weight[row] / total >= smallest_weight) causes.push_back({table[row].cause, log_weight[row] / total});
  return ranked(std::move(causes));
}

}  // namespace driftline::rules
