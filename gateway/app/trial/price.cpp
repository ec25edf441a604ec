#include "gateway/app/trial/price.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <span>

#include "rules/statistics/run_length.h"

namespace driftline::trial {
namespace {

constexpr double smooth_share = 1.0 / 6;   // of rules/conditions/drift_chart.cpp
constexpr double shown_share = 0.55;       // of the smallest shift that must be seen in the last turns (line_conditions.cpp)
constexpr std::size_t counted_least = 8;   // excursions over a limit that are enough to be counted
constexpr std::size_t tail_most = 60;      // excursions to which a tail is fitted
constexpr std::size_t tail_share = 20;     // one in so many belongs to the tail
constexpr double share_least = 0.2;        // of its limit: lower excursions tell nothing of the tail
constexpr double together_days = 4;        // what stands so near is one warning
constexpr std::size_t turns_least = 50;
constexpr double no_cost = 1e-3;           // false warnings a year that are as good as none

enum class Side : std::uint8_t { up, down, both };

struct Charted {
  Figure figure;
  Side side;
};

std::vector<Charted> charts_of(Condition condition) {
  switch (condition) {
    case Condition::slow_to_pressure: return {{Figure::time, Side::up}, {Figure::contrast, Side::up}};
    case Condition::quick_to_pressure: return {{Figure::time, Side::down}, {Figure::contrast, Side::down}};
    case Condition::residual_pressure: return {{Figure::residual, Side::up}};
    case Condition::slow_vent: return {{Figure::vent, Side::up}};
    case Condition::peak_shift: return {{Figure::peak, Side::both}};
    default: return {};
  }
}

// The condition whose budget and smallest shift the charts of a condition take (rules/judgement/figures.cpp).
Condition charted_as(Condition condition) {
  return condition == Condition::quick_to_pressure ? Condition::slow_to_pressure : condition;
}

// Only a shift in the figure's own unit asks what is usual.
bool needed(const Thresholds& t, Condition condition) { return t.of(condition).smallest_shift_own.has_value(); }

// As designed with the thresholds in force, with another smallest shift.
rules::ChartDesign scaled(const rules::ChartDesign& design, Condition condition, double scale) {
  rules::ChartDesign out = design;
  out.smallest_shift *= scale;
  if (charted_as(condition) != Condition::slow_to_pressure) out.fast_shift *= scale;
  return out;
}

rules::Expectation expectation_of(const NoiseTurn& t) {
  return {double{t.expected}, double{t.model_deviation}, double{t.deviation}, double{t.lasting_deviation}};
}

std::vector<HeldTurn> held_turns(const NoiseSeries& series, const rules::ChartDesign& design) {
  std::vector<HeldTurn> all;
  all.reserve(series.turns.size());
  for (const NoiseTurn& t : series.turns) {
    const rules::ChartLimits limits = rules::limits_of(design, expectation_of(t), double{t.far_share});
    const float lasting = std::max(t.lasting_deviation, 1e-9F);
    all.push_back({t.error, t.shown, static_cast<float>(limits.allowance), static_cast<float>(limits.cap), lasting, static_cast<float>(limits.fast)});
  }
  return all;
}

template <class Turns, class Member>
double median_of(const Turns& turns, Member member) {
  std::vector<float> all;
  for (const auto& turn : turns) all.push_back(turn.*member);
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return std::max(1e-9, double{all[all.size() / 2]});
}

// A turn as they mostly are.
NoiseTurn usual_turn(const NoiseSeries& series) {
  NoiseTurn turn;
  const auto set = [&](auto member) { turn.*member = static_cast<float>(median_of(series.turns, member)); };
  set(&NoiseTurn::model_deviation);
  set(&NoiseTurn::deviation);
  set(&NoiseTurn::lasting_deviation);
  set(&NoiseTurn::far_share);
  return turn;
}

// Decision limit in lasting deviations, at such a turn.
double interval_of(const rules::ChartDesign& design, const NoiseTurn& usual, double signals_a_year) {
  rules::ChartDesign asked = design;
  asked.false_signals_a_year = signals_a_year;
  return rules::limits_of(asked, expectation_of(usual), double{usual.far_share}).limit / double{usual.lasting_deviation};
}

// Shift on the figure's scale after a share of the fault's time.
double fault_shift(Figure figure, Side side, const NoiseSeries& series, double share) {
  const double usual = double{series.turns[series.turns.size() / 2].expected};
  switch (figure) {
    case Figure::time:
    case Figure::contrast: {
      if (side == Side::down) return -0.223 * share;
      const double room = series.limit ? std::max(0.05, *series.limit - usual) : std::log(1.3);
      return -std::log1p(-(1 - std::exp(-room)) * share);
    }
    case Figure::vent: return std::log(2.0) * share;
    case Figure::residual: return std::max(0.2, 1 - usual) * share;
    case Figure::peak: return -0.15 * share;
  }
  return 0;
}

// Days from the fault's beginning to the chart's signal; `days` where there was none before the limit.
double days_to_signal(std::span<const HeldTurn> turns, std::size_t begin, double turns_a_day, double days, double interval,
                      double shown_least, double sign, const std::function<double(double)>& shift) {
  double sum = 0;
  double smooth = 0;
  int beyond = 0;
  const auto count = static_cast<std::size_t>(days * turns_a_day);
  for (std::size_t i = 0; i < count; ++i) {
    const HeldTurn& turn = turns[(begin + i) % turns.size()];
    const double added = shift(static_cast<double>(i + 1) / static_cast<double>(count));
    const double error = sign * (double{turn.error} + added);
    smooth += smooth_share * (sign * (double{turn.shown} + added) - smooth);
    sum = std::max(0.0, sum + std::min(error, double{turn.cap}) - double{turn.allowance});
    beyond = error > double{turn.fast} ? beyond + 1 : 0;
    const double height = sum / double{turn.lasting};
    if (beyond >= 3 || (height > interval && smooth > shown_least))
      return static_cast<double>(i + 1) / turns_a_day;
  }
  return days;
}

double quantile(std::vector<double>& values, double p) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(p * static_cast<double>(values.size() - 1))];
}

}  // namespace

double smallest_shift_of(const Thresholds& t, Condition condition, const LineNoise& line) {
  const auto usual = [&](Figure figure) { return line.of(figure).usual(figure); };
  switch (charted_as(condition)) {
    case Condition::slow_to_pressure: return rules::smallest_shift(t, Condition::slow_to_pressure, rules::smallest_time_shift, needed(t, Condition::slow_to_pressure) ? usual(Figure::time) : std::nullopt);
    case Condition::slow_vent: return rules::smallest_shift(t, Condition::slow_vent, rules::smallest_vent_shift, needed(t, Condition::slow_vent) ? usual(Figure::vent) : std::nullopt);
    case Condition::peak_shift: return rules::smallest_shift(t, Condition::peak_shift, rules::smallest_peak_shift, usual(Figure::peak));
    default: return rules::smallest_residual(t, *usual(Figure::residual));
  }
}

// One side of a chart over the turns: excursions of the sum from zero to zero, and runs of the fast path.
class Pricing::Walk {
 public:
  explicit Walk(double sign) : sign_(static_cast<float>(sign)) {}

  void step(const HeldTurn& turn, double at_days, float shown_least, std::vector<Excursion>& out) {
    const float error = sign_ * turn.error;
    smooth_ += static_cast<float>(smooth_share) * (sign_ * turn.shown - smooth_);
    beyond_ = error > turn.fast ? beyond_ + (error > 2.5F * turn.fast ? 2 : 1) : 0;
    if (beyond_ >= 3) open_.sudden = true;
    sum_ += std::min(error, turn.cap) - turn.allowance;
    if (sum_ <= 0) {
      if (open_.height > 0 || open_.sudden) out.push_back(open_);
      open_ = {};
      sum_ = 0;
      return;
    }
    const float height = sum_ / turn.lasting;
    if (open_.at_days == 0) open_.at_days = at_days;
    if (smooth_ <= shown_least || height <= open_.height) return;
    open_.height = height;
    open_.at_days = at_days;
  }

 private:
  float sign_;
  float sum_ = 0;
  float smooth_ = 0;
  int beyond_ = 0;
  Excursion open_;
};

double excursions_a_year(const std::vector<float>& peaks, double years, double limit) {
  if (peaks.empty() || !(years > 0)) return 0;
  const auto over = static_cast<std::size_t>(
      std::partition_point(peaks.begin(), peaks.end(), [&](float peak) { return double{peak} > limit; }) - peaks.begin());
  if (over >= counted_least || over == peaks.size()) return static_cast<double>(over) / years;
  const std::size_t tail = std::min(std::clamp(peaks.size() / tail_share, counted_least, tail_most), peaks.size() - 1);
  const double mark = double{peaks[tail]};
  double excess = 0;
  for (std::size_t i = 0; i < tail; ++i) excess += double{peaks[i]} - mark;
  if (tail == 0 || !(excess > 0) || limit <= mark) return static_cast<double>(over) / years;
  return static_cast<double>(tail) / years * std::exp(-(limit - mark) * static_cast<double>(tail) / excess);
}

const Pricing::Pass& Pricing::pass_of(Condition condition, double scale, int line, Figure figure) {
  const LineNoise& of_line = noise_->lines.at(line);
  const NoiseSeries& series = of_line.of(figure);
  for (const Pass& pass : passes_)
    if (pass.condition == condition && pass.scale == scale && pass.line == line && pass.figure == figure) return pass;
  Pass& pass = passes_.emplace_back();
  pass.condition = condition;
  pass.scale = scale;
  pass.line = line;
  pass.figure = figure;
  const rules::ChartDesign design = scaled(series.design, condition, scale);
  pass.turns = held_turns(series, design);
  pass.years = static_cast<double>(pass.turns.size()) / design.turns_a_year;
  const auto shown_least = static_cast<float>(shown_share * smallest_shift_of(in_force_, condition, of_line) * scale);
  Side side = Side::up;
  for (const Charted& charted : charts_of(condition))
    if (charted.figure == figure) side = charted.side;
  for (const double sign : {1.0, -1.0}) {
    if ((side == Side::up && sign < 0) || (side == Side::down && sign > 0)) continue;
    Walk walk(sign);
    for (std::size_t i = 0; i < pass.turns.size(); ++i)
      walk.step(pass.turns[i], static_cast<double>(series.turns[i].start_ms) / 86'400'000.0, shown_least, pass.excursions);
  }
  return pass;
}

// Excursions of all charts of a condition, in shares of their limit.
void Pricing::add_excursions(Condition condition, const Thresholds& thresholds, std::vector<Excursion>& out, double& years) {
  const double budget_ratio = rules::budget_of(thresholds, condition) / rules::budget_of(in_force_, condition);
  for (const auto& [number, line] : noise_->lines) {
    const double scale = smallest_shift_of(thresholds, condition, line) / smallest_shift_of(in_force_, condition, line);
    for (const Charted& charted : charts_of(condition)) {
      const NoiseSeries& series = line.of(charted.figure);
      if (series.turns.size() < turns_least) continue;
      const rules::ChartDesign design = scaled(series.design, condition, scale);
      const Pass& pass = pass_of(condition, scale, number, charted.figure);
      const double limit = interval_of(design, usual_turn(series), design.false_signals_a_year * budget_ratio);
      years = std::max(years, pass.years);
      for (const Excursion& e : pass.excursions)
        if (e.sudden || double{e.height} > share_least * limit) out.push_back({static_cast<float>(double{e.height} / limit), e.at_days, e.sudden});
    }
  }
}

// What stands within days of each other is one warning.
double Pricing::warnings_a_year(std::vector<Excursion> excursions, double years) {
  if (!(years > 0)) return 0;
  std::stable_sort(excursions.begin(), excursions.end(), [](const Excursion& a, const Excursion& b) { return a.at_days < b.at_days; });
  std::vector<float> heights;
  double sudden = 0;
  for (std::size_t i = 0; i < excursions.size();) {
    float height = 0;
    bool any_sudden = false;
    double last = excursions[i].at_days;
    for (; i < excursions.size() && excursions[i].at_days - last <= together_days; ++i) {
      height = std::max(height, excursions[i].height);
      any_sudden = any_sudden || excursions[i].sudden;
      if (excursions[i].sudden || excursions[i].height > 1) last = excursions[i].at_days;  // only what warns keeps it open
    }
    if (any_sudden)
      sudden += 1;
    else
      heights.push_back(height);
  }
  std::sort(heights.begin(), heights.end(), std::greater<>());
  return excursions_a_year(heights, years, 1) + sudden / years;
}

double Pricing::false_together(const Thresholds& thresholds) {
  std::vector<Excursion> all;
  double years = 0;
  for (const Condition condition : chart_conditions) add_excursions(condition, thresholds, all, years);
  return warnings_a_year(std::move(all), years);
}

std::optional<Price> Pricing::of(Condition condition, const Thresholds& thresholds) {
  const double budget_ratio = rules::budget_of(thresholds, condition) / rules::budget_of(in_force_, condition);
  Price price;
  std::vector<double> leads;
  for (const auto& [number, line] : noise_->lines) {
    const double smallest = smallest_shift_of(thresholds, condition, line);
    const double scale = smallest / smallest_shift_of(in_force_, condition, line);
    std::vector<double> line_leads;
    for (const Charted& charted : charts_of(condition)) {
      const NoiseSeries& series = line.of(charted.figure);
      if (series.turns.size() < turns_least) continue;
      const rules::ChartDesign design = scaled(series.design, condition, scale);
      const NoiseTurn usual = usual_turn(series);
      const double lasting = double{usual.lasting_deviation};
      const double limit = interval_of(design, usual, design.false_signals_a_year * budget_ratio);
      const Pass& pass = pass_of(condition, scale, number, charted.figure);
      const double sides = charted.side == Side::both ? 2 : 1;
      price.by_run_length += sides * design.turns_a_year /
                             statistics::cusum_run_length({.k = design.smallest_shift / 2 / lasting,
                                                           .h = limit,
                                                           .head_start = 0,
                                                           .sides = statistics::Sides::one});
      const std::vector<HeldTurn>& turns = pass.turns;
      const double a_day = std::max(1.0, design.turns_a_year / 365.25);
      const double sign = charted.side == Side::down || charted.figure == Figure::peak ? -1 : 1;
      const double shown_least = shown_share * smallest;
      line_leads.resize(static_cast<std::size_t>(settings_.beginnings), 0);
      for (std::size_t i = 0; i < line_leads.size(); ++i) {
        const std::size_t begin = i * turns.size() / line_leads.size();
        const double days = days_to_signal(turns, begin, a_day, settings_.fault_days, limit, shown_least, sign,
                                           [&](double share) { return fault_shift(charted.figure, charted.side, series, share); });
        line_leads[i] = std::max(line_leads[i], settings_.fault_days - days);  // whichever chart speaks first
      }
    }
    leads.insert(leads.end(), line_leads.begin(), line_leads.end());
  }
  if (leads.empty()) return std::nullopt;
  std::vector<Excursion> excursions;
  double years = 0;
  add_excursions(condition, thresholds, excursions, years);
  price.false_a_year = warnings_a_year(std::move(excursions), years);
  price.lead_days = quantile(leads, 0.5);
  price.lead_days_low = quantile(leads, 0.1);
  return price;
}

std::optional<std::size_t> knee_of(const std::vector<CurvePoint2>& points) {
  if (points.size() < 3) return std::nullopt;
  const auto x = [&](std::size_t i) { return std::log(std::max(points[i].cost, no_cost)); };
  const double width = x(points.size() - 1) - x(0);
  const double rise = points.back().worth - points.front().worth;
  if (!(width > 0) || !(rise > 0)) return std::nullopt;
  std::optional<std::size_t> best;
  double farthest = 0.02;  // nearer than this to the straight line there is no knee to speak of
  for (std::size_t i = 1; i + 1 < points.size(); ++i) {
    const double above = (points[i].worth - points.front().worth) / rise - (x(i) - x(0)) / width;
    if (above <= farthest) continue;
    farthest = above;
    best = i;
  }
  return best;
}

}  // namespace driftline::trial
