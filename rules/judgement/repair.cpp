#include "rules/judgement/repair.h"

#include <algorithm>
#include <cmath>

namespace driftline::rules {
namespace {

constexpr double not_back_share = 0.6;
constexpr double back_share = 0.5;
constexpr double watched_days = 14;
constexpr double shift_that_counts = 0.02;
constexpr double unnoted_shift = 0.06;
constexpr int unnoted_turns = 3;

bool any_open(const StationState& state, const LineState& line) {
  return state.slow.on || state.quick.on || std::any_of(line.held.begin(), line.held.end(), [](const Held& h) { return h.on; });
}

bool of_drift(LineIssue issue) { return issue != LineIssue::missed && issue != LineIssue::sensor; }

void tell(const LineState& line, Held& held, Condition condition, std::optional<int> number, const Turn& turn, bool back,
          std::vector<Judgement>& out) {
  if (!held.on) return;
  Finding f;
  f.condition = condition;
  f.line = number;
  f.time = turn.time;
  f.holds = !back;
  f.causes = {};
  const std::string turns = std::to_string(line.repair ? line.repair->turns : repair_turns) + " turns after the repair ";
  if (back) {
    held = {};
    f.reason = turns + "the figures are back where they were";
  } else {
    held.urgency = std::max(held.urgency, Urgency::plan);
    f.reason = turns + "the figures are not back";
  }
  f.urgency = held.urgency;
  out.push_back(std::move(f));
}

constexpr std::array<Condition, line_issue_count> conditions{
    Condition::slow_to_pressure, Condition::quick_to_pressure, Condition::pressure_not_reached, Condition::peak_shift,
    Condition::residual_pressure, Condition::slow_vent, Condition::missed_turn, Condition::doubtful_sensor};

void tell_all(StationState& state, LineState& line, const Turn& turn, bool back, std::vector<Judgement>& out) {
  for (std::size_t i = 0; i < line_issue_count; ++i)
    if (of_drift(static_cast<LineIssue>(i))) tell(line, line.held[i], conditions[i], turn.cycle.line, turn, back, out);
  tell(line, state.slow, Condition::slow_to_pressure, std::nullopt, turn, back, out);
  tell(line, state.quick, Condition::quick_to_pressure, std::nullopt, turn, back, out);
}

void settle_line(LineState& line, Time time) {
  settle_again(line.time_to_pressure, priors::time_to_pressure, time);
  settle_again(line.vent, priors::vent, time);
  settle_again(line.residual, priors::residual, time);
  for (DriftChart* chart : {&line.time_chart, &line.contrast_chart, &line.vent_chart, &line.residual_chart, &line.peak_chart}) restart(*chart);
  line.wear = {};
  line.residual_wear = {};
  line.vent_wear = {};
  line.sudden = false;
}

void watch_for_unnoted(StationState& state, LineState& line, const Turn& turn) {
  const auto& time = turn.figures.time;
  if (line.repair || !time || !time->learnt) return;
  const bool open = is_on(line, LineIssue::slow) || is_on(line, LineIssue::quick) || state.slow.on || state.quick.on ||
                    is_on(line, LineIssue::not_reached);
  // The shift as it was before this turn: what the last blocks of the wear history hold.
  double before = 0;
  const auto blocks = line.wear.view().blocks;
  if (!blocks.empty()) before = double{blocks.back().mean};
  if (blocks.size() > 1 && blocks.back().turns < 5) before = double{blocks[blocks.size() - 2].mean};
  const bool far = std::abs(before) > unnoted_shift;
  const bool half_gone = far && time->error * before < 0.5 * before * before;
  line.returned = open && half_gone ? static_cast<std::uint8_t>(line.returned + 1) : std::uint8_t{0};
  if (line.returned < unnoted_turns) return;
  line.returned = 0;
  line.repair = RepairCheck{.since = turn.cycle.pump_start, .turns = unnoted_turns, .was_open = true, .noted = false,
                            .before = static_cast<float>(before), .sum = static_cast<float>(time->error * unnoted_turns)};
}
}  // namespace

void start_repair_check(StationState& state, LineState& line, Time noted_at) {
  line.repair = RepairCheck{.since = noted_at, .turns = 0, .was_open = any_open(state, line), .noted = true,
                            .before = static_cast<float>(shift_of(line.time_chart)), .sum = 0};
}

void follow_repair(StationState& state, LineState& line, const Turn& turn, std::vector<Judgement>& out) {
  watch_for_unnoted(state, line, turn);
  if (!line.repair || turn.cycle.outcome != Outcome::reached || !turn.figures.time) return;
  RepairCheck& check = *line.repair;
  if (turn.cycle.pump_start < check.since) return;
  if (check.turns < 250) ++check.turns;
  const double before = check.before;
  if (check.turns <= repair_turns) check.sum += static_cast<float>(turn.figures.time->error);
  if (check.turns < repair_turns) return;
  const bool judged_by_shift = check.noted && check.was_open && std::abs(before) > shift_that_counts;
  if (check.turns == repair_turns) {
    const double mean = double{check.sum} / check.turns;
    const bool still = judged_by_shift && mean * before > not_back_share * before * before;
    tell_all(state, line, turn, !still, out);
    if (still) return;
  } else {
    // Not back at first: air may hide it. Watched on until it is, or for so long that it is another story.
    const double shift = shift_of(line.time_chart);
    const bool back = shift * before < back_share * before * before;
    if (!back && days_between(check.since, turn.time) < watched_days) return;
    if (back) tell_all(state, line, turn, true, out);
    if (!back) {
      line.repair.reset();
      return;
    }
  }
  line.repair.reset();
  settle_line(line, turn.cycle.pump_start);
}

}  // namespace driftline::rules
